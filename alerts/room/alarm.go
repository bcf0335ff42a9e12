package room

import (
	"cmp"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/track"
)

// raise is an alarm that somebody must be told of.
type raise struct {
	At     time.Time // of the minute that raised it
	Alarm  alerts.Alarm
	Strain string
	Age    time.Duration // of the lot; zero unknown
}

// alarms shows the findings of a minute to the alarms of all vessels that have
// not seen it.
func (r *Room) alarms(ms int64, out *step) {
	now := time.UnixMilli(ms).UTC()
	var staffed, asked bool
	for _, v := range r.order {
		if ms <= v.judged || v.head.Minute != ms {
			continue
		}
		if !asked {
			staffed, asked = r.o.Staffed(now), true
		}
		v.judged = ms
		r.alarm(v, now, staffed, out)
	}
}

// handling reports whether a finding may be of what people do at the shelf now:
// what begins in three vessels within two minutes is not.
func (r *Room) handling(f *analysis.Finding) bool {
	if !f.Class.Surroundings() {
		return true
	}
	n := 0
	for _, v := range r.order {
		for i := range v.findings {
			g := &v.findings[i]
			if g.Class == f.Class && g.Since.Sub(f.Since).Abs() <= gathers {
				n++
				break
			}
		}
	}
	return n < together
}

// alarm steps all alarms of a vessel through one judged minute.
func (r *Room) alarm(v *vessel, now time.Time, staffed bool, out *step) {
	seen := make(map[analysis.Key]bool, len(v.findings))
	for i := range v.findings {
		f := &v.findings[i]
		if f.Class == analysis.Notice {
			continue // it needs nobody before morning, so it is no alarm
		}
		seen[f.Key] = true
		if staffed && !r.handling(f) {
			r.change(v, f.Key, f, now, false, out)
			continue
		}
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
	if f != nil && !staffed {
		before.Handling = before.Handling && r.handling(f)
	}
	if v.over(before) {
		// Its culture is gone: nothing is to be saved, and the next one is not sick.
		before.State, before.Ended, before.Clear = alerts.Normal, now, time.Time{}
		before.Explained = cmp.Or(before.Explained, "the lot has ended")
		delete(v.alarms, k)
		out.note(before)
		return
	}
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
		out.raised = append(out.raised, v.raise(now, a))
	}
	v.alarms[k] = a
	if change != alerts.None {
		out.note(a)
	}
}

func (v *vessel) raise(at time.Time, a alerts.Alarm) raise {
	return raise{At: at, Alarm: a, Strain: v.head.Track.Strain, Age: v.head.Track.Estimate().Age()}
}

// over reports whether an alarm is of a culture that has ended.
func (v *vessel) over(a alerts.Alarm) bool {
	switch a.Class {
	case analysis.Crash, analysis.Stall, analysis.Contaminated:
		t := &v.head.Track
		return (a.Active() || a.State == alerts.Returned) && (t.Ended != 0 || t.Lot != a.Finding.Lot && a.Finding.Lot != track.Unnamed)
	}
	return false
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
