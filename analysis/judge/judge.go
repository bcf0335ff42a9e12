// Package judge says what is wrong with one vessel now, from its running
// estimate, the course it should take and its surroundings.
//
// This first form holds plain conditions against limits that have a reason
// each; how long a condition must last before somebody is woken is the alarm's
// business, not the judge's, except where the evidence itself takes time.
// Surroundings explain before biology accuses, and a probe that lies accuses
// itself and not the culture.
package judge

import (
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// State is what the judge remembers of one vessel: a plain value, so that a
// copy is a checkpoint.
type State struct {
	Born    int64             // Unix ms of the first step
	At      int64             // Unix ms of the newest step
	Held    [conditions]int64 // since when each condition has held; 0: it does not
	Lamp    lamp
	Air     float32 // usual airflow where none is set, L/min
	AirFrom int64   // Unix ms at which air last got out of order
	AirBad  int64   // Unix ms at which it last was
	DarkBad int64   // Unix ms at which the lamp last failed its hours
	ODBad   int64   // Unix ms at which the od probe last accused itself
	Hit     int64   // Unix ms of the step that is asked about
	Lot     int64   // Unix ms of the start of the lot that Air and Course belong to
	Night   night
	Peak    int64 // Unix ms of the high before the crash that holds; 0: none does
	Fell    int64 // Unix ms at which one last held
	Course  course
	Gap     expect.Gap // what a crash, and what a stall or an excess was found by
	Short   expect.Gap
	Late    expect.Gap
	Excess  expect.Gap
	Blamed  int // hours of the course as of which that was looked into
}

// The conditions, by their place in State.Held. The order is part of what is
// saved: add at the end.
const (
	silentAll = iota
	silentFirst
	stuckFirst      = silentFirst + unit.Count
	impossibleFirst = stuckFirst + unit.Count
	lampDark        = impossibleFirst + unit.Count
	lampOn          = lampDark + 1
	tooWarm         = lampOn + 1
	tooCold         = tooWarm + 1
	airOff          = tooCold + 1
	airWeak         = airOff + 1
	crashing        = airWeak + 1
	stalled         = crashing + 1
	stepped         = stalled + 1
	asked           = stepped + 1
	uncounted       = asked + 1
	fellByHand      = uncounted + 1
	stalledByHand   = fellByHand + 1
	grown           = stalledByHand + 1
	filmed          = grown + 1
	falls           = filmed + 1
	slowest         = falls + 1
	late            = slowest + 1
	stale           = late + 1
	conditions      = stale + 1
)

// Case is what is judged at one step.
type Case struct {
	Vessel  *ingest.Vessel
	Track   *track.State
	Now     time.Time
	Staffed func(time.Time) bool // whether people are at the shelf then; nil: never
	Courses *expect.Library      // what is known of the strains; nil: what the literature says
	Limits  *Limits              // nil: those of a room of twelve that bears one false call a month
}

type bench struct {
	*State
	Case
	now int64
	out []analysis.Finding

	brightest float64 // see peak
	peaked    bool    // it is known
}

// Step judges once; it is called at every whole minute of the room's time,
// after the readings up to then. The findings that stand now are returned.
func (s *State) Step(c Case) []analysis.Finding {
	now := c.Now.UnixMilli()
	if s.Born == 0 {
		s.Born = now
	}
	s.At = now
	b := bench{State: s, Case: c, now: now}
	// Without a lot there is nothing to lose: probes are unplugged, clamps
	// shut and lamps off while a vessel is made ready.
	if c.Track.Ended != 0 {
		s.forget()
		return nil
	}
	if c.Track.Lot == "" {
		s.forget()
		return nil
	}
	if s.Lot != c.Track.Since {
		s.Lot, s.Air, s.Course, s.Peak, s.Fell, s.Night = c.Track.Since, 0, course{}, 0, 0, night{}
	}
	b.probes()
	b.light()
	b.temperature()
	b.air()
	b.culture()
	b.ripe()
	b.dark()
	b.grewInTheDark()
	if c.Track.ByHand() {
		b.byHand()
	} else {
		b.Held[uncounted], b.Held[fellByHand], b.Held[stalledByHand] = 0, 0, 0
	}
	b.steps()
	return b.out
}

// forget drops what was held about a culture and its surroundings.
func (s *State) forget() {
	for i := lampDark; i < conditions; i++ {
		s.Held[i] = 0
	}
}

// hold keeps the time since when a condition has held and returns it; 0 when
// it does not hold.
func (b *bench) hold(condition int, holds bool) int64 {
	if !holds {
		b.Held[condition] = 0
		return 0
	}
	if b.Held[condition] == 0 {
		b.Held[condition] = b.now
	}
	return b.Held[condition]
}

// holdFrom is hold for a condition that a running median tells: by then three
// readings in a row have been so, and it began with the first of them.
func (b *bench) holdFrom(condition int, holds bool, q ingest.Quantity) int64 {
	before := b.Held[condition]
	since := b.hold(condition, holds)
	if since == 0 || before != 0 {
		return since
	}
	n := &b.Track.Newest[q]
	b.Held[condition] = min(since, max(n.First, n.At-2*b.Vessel.Interval.Milliseconds()))
	return b.Held[condition]
}

// lasted reports whether the condition has held for at least d.
func (b *bench) lasted(condition int, d time.Duration) bool {
	since := b.Held[condition]
	return since != 0 && b.now-since >= d.Milliseconds()
}

func (b *bench) find(class analysis.Class, q ingest.Quantity, since int64, f analysis.Finding) {
	f.Key = analysis.Key{Vessel: b.Vessel.Name, Class: class, Quantity: q}
	f.Lot = b.Track.Lot
	f.Since, f.Seen = time.UnixMilli(since).UTC(), b.Now
	if f.Sure == 0 {
		f.Sure = 0.95
	}
	b.out = append(b.out, f)
}

// fresh reports whether a quantity has been heard so lately that its newest
// values may be believed to be of now. Where one of the conditions holds
// already, it goes on to hold until the sensor counts as silent: a gap in the
// readings ends no trouble.
func (b *bench) fresh(q ingest.Quantity, held ...int) bool {
	n := &b.Track.Newest[q]
	if n.Filled == 0 || b.Held[impossibleFirst+int(q)] != 0 {
		return false
	}
	limit := max(3*b.Vessel.Interval, 10*time.Minute)
	for _, c := range held {
		if b.Held[c] != 0 {
			limit = b.quiet()
		}
	}
	return b.now-n.At <= limit.Milliseconds()
}

// quiet is how long a sensor may say nothing: ten readings, and never less
// than an hour. Links drop out for tens of minutes in a wet room full of
// pumps, and a culture that was well an hour ago is not lost now.
func (b *bench) quiet() time.Duration {
	return max(10*b.Vessel.Interval, time.Hour)
}
