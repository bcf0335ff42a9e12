package room

import (
	"cmp"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
)

const (
	// together is from how many vessels on the same trouble at once is one
	// event with one cause: three are no coincidence.
	together = 3
	// gathers is how long a raised alarm waits for others of its kind before
	// somebody is called: sensors report every few minutes, so that what
	// stopped in one instant is noticed over a minute or two.
	gathers = 2 * time.Minute
	// joins is how long after its beginning an event takes in more vessels
	// without another call: slow sensors notice last.
	joins = 15 * time.Minute
)

// event is a trouble of several vessels that somebody was called for.
type event struct {
	Class  analysis.Class
	At     time.Time // of its first alarm
	CallID string
}

// decide makes calls of the alarms that have waited long enough by the minute
// that ends at now: one for what hit several vessels at once, one each for the
// rest. How minutes are parted into batches does not show: only the times at
// which alarms were raised count.
func (r *Room) decide(now, wall time.Time, s *step) []alerts.Call {
	r.waiting = append(r.waiting, s.raised...)
	s.raised = nil
	slices.SortStableFunc(r.waiting, inOrder)
	var calls []alerts.Call
	for len(r.waiting) > 0 && !r.waiting[0].At.Add(gathers).After(now) {
		first := r.waiting[0]
		if r.settled(first) {
			r.waiting = r.waiting[1:]
			continue
		}
		if e, ok := r.ongoing(first); ok {
			r.told(first, e.CallID, s)
			r.waiting = r.waiting[1:]
			continue
		}
		same, rest := r.gather()
		if len(same) < together {
			same, rest = r.waiting[:1], r.waiting[1:]
		}
		c := r.call(same, wall)
		calls = append(calls, c)
		for _, x := range same {
			r.told(x, c.ID, s)
		}
		if len(same) >= together {
			r.events = append(r.events, event{first.Alarm.Class, first.At, c.ID})
		}
		r.waiting = rest
	}
	r.waiting = slices.Clip(slices.Clone(r.waiting))
	return calls
}

// settled reports whether nobody need be called for an alarm any more: the
// logbook has explained it while it waited, or its culture is gone, for whose
// vessel another may stand by now.
func (r *Room) settled(x raise) bool {
	v := r.vessels[x.Alarm.Vessel]
	if v == nil {
		return true
	}
	a := v.alarms[x.Alarm.Key]
	return a.ID != x.Alarm.ID || a.Explained != "" && !a.Clear.IsZero()
}

// inOrder puts the first to be raised first: the cause comes before what it
// brings with it.
func inOrder(a, b raise) int {
	return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Alarm.Vessel, b.Alarm.Vessel), cmp.Compare(a.Alarm.ID, b.Alarm.ID))
}

// gather parts from what waits those of the first one's class that were raised
// within gathers of it and are not settled.
func (r *Room) gather() (same, rest []raise) {
	first := r.waiting[0]
	for _, x := range r.waiting {
		if x.Alarm.Class == first.Alarm.Class && x.At.Sub(first.At) <= gathers && !r.settled(x) {
			same = append(same, x)
		} else {
			rest = append(rest, x)
		}
	}
	return same, rest
}

// ongoing finds the event that an alarm belongs to; events that take in no
// more are forgotten.
func (r *Room) ongoing(x raise) (event, bool) {
	r.events = slices.DeleteFunc(r.events, func(e event) bool { return x.At.Sub(e.At) > joins })
	for _, e := range r.events {
		if e.Class == x.Alarm.Class {
			return e, true
		}
	}
	return event{}, false
}

// told writes the call's id into an alarm that is not settled.
func (r *Room) told(x raise, id string, s *step) {
	alarms := r.vessels[x.Alarm.Vessel].alarms
	a := alarms[x.Alarm.Key]
	a.CallID = id
	alarms[x.Alarm.Key] = a
	s.note(a)
}

func (r *Room) call(same []raise, wall time.Time) alerts.Call {
	var alarms []alerts.Alarm
	var findings []analysis.Finding
	for _, x := range same {
		alarms, findings = append(alarms, x.Alarm), append(findings, x.Alarm.Finding)
	}
	text, body := alerts.GroupText(findings, r.o.Zone), alerts.GroupBody(findings, r.o.Zone)
	if len(same) == 1 {
		about := alerts.About{Strain: same[0].Strain, Age: same[0].Age, Zone: r.o.Zone}
		text, body = alerts.CallText(findings[0], about), alerts.CallBody(findings[0], about)
	}
	c := alerts.NewCall(r.o.Name, alerts.KindRaised, alarms, text, body, same[0].At, wall)
	if r.o.PublicURL != "" {
		c.Link = r.o.PublicURL + "/alarms"
	}
	return c
}
