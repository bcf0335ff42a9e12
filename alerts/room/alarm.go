package room

import (
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
)

// raise is an alarm that somebody must be told of.
type raise struct {
	at    time.Time
	v     *vessel
	alarm alerts.Alarm
	about alerts.About
}

// alarm steps all alarms of a vessel through one judged minute.
func (r *Room) alarm(v *vessel, now time.Time, out *step) {
	staffed := r.o.Staffed(now)
	seen := make(map[analysis.Key]bool, len(v.findings))
	for i := range v.findings {
		f := &v.findings[i]
		if f.Class == analysis.Notice {
			continue // it needs nobody before morning, so it is no alarm
		}
		seen[f.Key] = true
		r.change(v, f.Key, f, now, staffed, out)
	}
	defer v.settleNews()
	if len(v.alarms) == len(seen) {
		return
	}
	for _, k := range v.keys() {
		if !seen[k] {
			r.change(v, k, nil, now, staffed, out)
		}
	}
}

// keys are those of the vessel's alarms, in a fixed order.
func (v *vessel) keys() []analysis.Key {
	out := make([]analysis.Key, 0, len(v.alarms))
	for k := range v.alarms {
		out = append(out, k)
	}
	slices.SortFunc(out, func(a, b analysis.Key) int {
		if a.Class != b.Class {
			return slices.Index(analysis.Classes, a.Class) - slices.Index(analysis.Classes, b.Class)
		}
		return int(a.Quantity) - int(b.Quantity)
	})
	return out
}

func (r *Room) change(v *vessel, k analysis.Key, f *analysis.Finding, now time.Time, staffed bool, out *step) {
	rule := alerts.RuleFor(k)
	before := v.alarms[k]
	before.Key = k
	a, change := alerts.Step(before, f, now, staffed, rule)
	if f == nil && before.Active() && before.Clear.IsZero() {
		a = v.explain(a)
	}
	if f != nil && a.Active() {
		a.Explained = "" // it explained nothing after all
	}
	known := !a.Ended.IsZero() && now.Sub(a.Ended) < rule.ReAlarm // it may come back
	if f == nil && change == alerts.None && a.State == alerts.Normal && a.Pending.IsZero() && !known {
		delete(v.alarms, k) // over and told: the ledger keeps it
		return
	}
	if rule.Calls && change.Kind() == alerts.KindRaised {
		about := alerts.About{Strain: v.head.Track.Strain, Age: v.head.Track.Estimate().Age(), Zone: r.o.Zone}
		out.raised = append(out.raised, raise{at: now, v: v, alarm: a, about: about})
	}
	v.alarms[k] = a
	if change != alerts.None {
		out.note(a)
	}
}

// step gathers what comes of moving the room on.
type step struct {
	raised []raise
	alarms []alerts.Alarm
}

// note keeps only the newest form of an alarm.
func (s *step) note(a alerts.Alarm) {
	for i := range s.alarms {
		if s.alarms[i].ID == a.ID {
			s.alarms[i] = a
			return
		}
	}
	s.alarms = append(s.alarms, a)
}

// together is from how many vessels on the same trouble in the same minute is
// one event with one cause: three are no coincidence.
const together = 3

// outcome makes calls of what was raised: one for what hit several vessels in
// the same minute, one each for the rest.
func (r *Room) outcome(s step, wall time.Time) Outcome {
	slices.SortStableFunc(s.raised, func(a, b raise) int { return a.at.Compare(b.at) })
	var out Outcome
	for len(s.raised) > 0 {
		first := s.raised[0]
		var same, rest []raise
		for _, x := range s.raised {
			if x.at.Equal(first.at) && x.alarm.Class == first.alarm.Class {
				same = append(same, x)
			} else {
				rest = append(rest, x)
			}
		}
		if len(same) < together {
			same, rest = s.raised[:1], s.raised[1:]
		}
		c := r.call(same, wall)
		out.Calls = append(out.Calls, c)
		for _, x := range same {
			r.told(x, c.ID, &s)
		}
		s.raised = rest
	}
	out.Alarms = s.alarms
	return out
}

// told writes the call's id into the alarm, wherever it is kept.
func (r *Room) told(x raise, id string, s *step) {
	if a := x.v.alarms[x.alarm.Key]; a.ID == x.alarm.ID {
		a.CallID = id
		x.v.alarms[x.alarm.Key] = a
	}
	for i := range s.alarms {
		if s.alarms[i].ID == x.alarm.ID {
			s.alarms[i].CallID = id
		}
	}
}

func (r *Room) call(same []raise, wall time.Time) alerts.Call {
	var alarms []alerts.Alarm
	var findings []analysis.Finding
	for _, x := range same {
		alarms, findings = append(alarms, x.alarm), append(findings, x.alarm.Finding)
	}
	text, body := alerts.GroupText(findings, r.o.Zone), alerts.GroupBody(findings, r.o.Zone)
	if len(same) == 1 {
		text, body = alerts.CallText(findings[0], same[0].about), alerts.CallBody(findings[0], same[0].about)
	}
	c := alerts.NewCall(r.o.Name, alerts.KindRaised, alarms, text, body, same[0].at, wall)
	if r.o.PublicURL != "" {
		c.Link = r.o.PublicURL + "/alarms"
	}
	return c
}
