// Package room runs the watch of one room: stored batches go in in order of
// their arrival, changes of alarms and calls to make come out. It is pure:
// time comes with the batches or through Advance, so that a replay of the
// same batches makes the same alarms, under the same ids, as the live watch
// made.
//
// Readings may come late and more than once. A vessel's memory is kept at a
// few marks on the way, together with what came in since the oldest of them;
// a late reading goes back to the mark before it and steps forward again, so
// that the findings are those of the readings in order of their time.
package room

import (
	"cmp"
	"iter"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/judge"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Options say what is watched.
type Options struct {
	Name     string // of the room
	Zone     *time.Location
	Vessels  []ingest.Vessel
	Staffed  func(time.Time) bool // nil: never
	Lateness time.Duration        // how late a reading still finds its place; 0 is DefaultLateness
	// FollowReadings makes the time of the newest reading the room's time, for
	// replaying recorded weeks. Otherwise time moves by Advance alone.
	FollowReadings bool
	Courses        *expect.Library // what is known of how the strains grow; nil: what the literature says
	FalseCalls     float64         // how many false calls a month the room bears; 0 is one
	PublicURL      string          // where a phone finds the page; empty: calls have no link
	// Past yields the stored readings of a vessel from one time to before
	// another, in order of time, so that a correction of what happened long ago
	// can be lived through again. Nil: such a correction changes what is known
	// of the lot and leaves what was found.
	Past func(vessel string, from, to time.Time) iter.Seq2[ingest.Reading, error]
}

// DefaultLateness is an hour: what a gateway keeps while its line is down.
const DefaultLateness = time.Hour

// settle is how long after a whole minute it is judged, so that readings of
// its last seconds are in.
const settle = 5 * time.Second

// Room is the watch of one room. It is not safe for concurrent use.
type Room struct {
	o       Options
	clock   int64 // the room's time, Unix ms
	ahead   int64 // newest time that leapt ahead of it, Unix ms
	vessels map[string]*vessel
	order   []*vessel
	limits  judge.Limits
	// tooLate counts readings that came later than Lateness and changed
	// nothing here; they are kept in the store all the same.
	tooLate int64
	waiting []raise // alarms that nobody was called for yet
	events  []event // those that more vessels may join
}

// New returns the watch of a room about which nothing is known yet.
func New(o Options) *Room {
	if o.Lateness <= 0 {
		o.Lateness = DefaultLateness
	}
	if o.Staffed == nil {
		o.Staffed = func(time.Time) bool { return false }
	}
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	r := &Room{o: o, vessels: make(map[string]*vessel, len(o.Vessels)), limits: judge.LimitsOf(o.FalseCalls, len(o.Vessels))}
	for _, set := range o.Vessels {
		v := newVessel(set)
		r.vessels[set.Name] = v
		r.order = append(r.order, v)
	}
	return r
}

// Outcome is what came of a step of the room: what must be written down
// before the step may be forgotten.
type Outcome struct {
	Alarms []alerts.Alarm // those that changed, as they now are
	Calls  []alerts.Call  // to be made, in order of being decided
}

// Empty reports whether nothing came of it.
func (o Outcome) Empty() bool { return len(o.Alarms) == 0 && len(o.Calls) == 0 }

func (o *Outcome) add(p Outcome) {
	o.Alarms = append(o.Alarms, p.Alarms...)
	o.Calls = append(o.Calls, p.Calls...)
}

// Now returns the room's time; zero before anything set it.
func (r *Room) Now() time.Time {
	if r.clock == 0 {
		return time.Time{}
	}
	return time.UnixMilli(r.clock).UTC()
}

// TooLate returns how many readings came too late to be judged.
func (r *Room) TooLate() int64 { return r.tooLate }

// Digest takes in one batch. Readings and entries of vessels that are not
// watched are passed over. wall is the time that calls are queued under.
func (r *Room) Digest(b ingest.Batch, wall time.Time) Outcome {
	var out Outcome
	for _, e := range b.Entries {
		if v := r.vessels[e.Vessel]; v != nil {
			r.enter(v, e)
		}
	}
	for _, reading := range b.Readings {
		if r.o.FollowReadings {
			if r.leaps(reading.At.UnixMilli()) {
				continue
			}
			out.add(r.Advance(reading.At, wall))
		}
		v := r.vessels[reading.Vessel]
		if v == nil || !reading.Quantity.Valid() || !(math.Abs(reading.Value) <= unit.Largest) {
			continue
		}
		if !v.insert(readingItem(reading)) {
			r.tooLate++
		}
	}
	out.add(r.run(wall))
	return out
}

// leap is how far ahead of the room's time one reading alone is not believed:
// a single stamp gone wrong would leave everybody else behind for ever.
const leap = int64(48 * time.Hour / time.Millisecond)

// leaps reports whether ms is a leap that no second reading has confirmed yet.
func (r *Room) leaps(ms int64) bool {
	if r.clock == 0 || ms-r.clock <= leap {
		return false
	}
	near := ms - r.ahead
	if near != 0 && -leap < near && near < leap {
		return false // another one says so too
	}
	r.ahead = ms
	return true
}

// Advance moves the room's time on to now; a time before the room's changes
// nothing. Every whole minute on the way is judged once.
func (r *Room) Advance(now, wall time.Time) Outcome {
	ms := now.UnixMilli()
	if ms <= r.clock {
		return Outcome{}
	}
	within := minuteBefore(r.clock) == minuteBefore(ms)
	r.clock = ms
	if within {
		return Outcome{}
	}
	return r.run(wall)
}

// Pass moves the room's time on to now over a gap in which nobody watched:
// what is found at its end counts, what was so in between calls nobody.
func (r *Room) Pass(now, wall time.Time) Outcome {
	for _, v := range r.order {
		v.judged = max(v.judged, minuteBefore(now.UnixMilli())-minute)
	}
	return r.Advance(now, wall)
}

// run takes every vessel to the room's time, minute by minute and all of them
// in each: what is so in the others counts in how long a trouble must last.
func (r *Room) run(wall time.Time) Outcome {
	var s step
	last := minuteBefore(r.clock)
	for m := r.unseen(last); ; m += minute {
		for _, v := range r.order {
			r.catchUp(v, m)
		}
		r.alarms(m, &s)
		if m >= last {
			break
		}
	}
	calls := r.decide(time.UnixMilli(last).UTC(), wall, &s)
	return Outcome{Alarms: s.alarms, Calls: calls}
}

// unseen is the first minute that some vessel's alarms have not seen, last at
// the latest.
func (r *Room) unseen(last int64) int64 {
	first := last
	for _, v := range r.order {
		if v.judged != 0 {
			first = min(first, v.judged+minute)
		}
	}
	return max(first, last-longestGap)
}

// minuteBefore is the newest whole minute that may be judged at ms.
func minuteBefore(ms int64) int64 {
	return (ms - settle.Milliseconds()) / minute * minute
}

const minute = int64(time.Minute / time.Millisecond)

// Acknowledge notes that who has taken the alarm at the room's time; ok is
// false where no vessel has an alarm of that id.
func (r *Room) Acknowledge(id, who string) (out Outcome, ok bool) {
	for _, v := range r.order {
		for k, a := range v.alarms {
			if a.ID != id {
				continue
			}
			a, change := alerts.Acknowledge(a, who, r.Now())
			if change != alerts.None {
				v.alarms[k] = a
				out.Alarms = append(out.Alarms, a)
			}
			return out, true
		}
	}
	return Outcome{}, false
}

// View is what is known of one vessel, for people.
type View struct {
	Vessel   ingest.Vessel
	Estimate analysis.Estimate
	Newest   map[ingest.Quantity]analysis.Point
	Findings []analysis.Finding
	Alarms   []alerts.Alarm // those not normal, the newest first
	// Course is where the density should have been in the last three days, and
	// will be in the next; empty where that is not known.
	Course []expect.Band
}

// Views returns what is known of all vessels, in the order of the shelf.
func (r *Room) Views() []View {
	out := make([]View, 0, len(r.order))
	for _, v := range r.order {
		out = append(out, v.view(r.clock, r.o.Courses))
	}
	return out
}

func newestFirst(a, b alerts.Alarm) int {
	return cmp.Or(b.Raised.Compare(a.Raised), cmp.Compare(a.ID, b.ID))
}
