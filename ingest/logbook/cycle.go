package logbook

import (
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Cycle is how far a vessel is on the way from the end of one lot to the start
// of the next.
type Cycle struct {
	Since time.Time         // the end of the lot before; zero: not known
	Done  map[int]time.Time // by place in Steps
	// contact of the two soaks, where it was said.
	Contact [2]time.Duration
	hasA    bool // of the nutrients, since the water came in
	hasB    bool
}

// Step is one step of making a vessel ready.
type Step struct {
	Kind    ingest.Kind // the entry that it writes
	Title   string      // what to do
	Done    time.Time   // zero: not yet
	Skipped bool        // later steps were done, this one was not written
	Next    bool        // the one to do next
	From    time.Time   // of the next one: since when there is to wait for Due
	Due     time.Time   // of the next one: not before this; zero: at once
}

// The places of the steps, after common practice at the carboy.
const (
	stepClean = iota
	stepSoak
	stepNeutralise
	stepDump
	stepRinse
	stepAcid
	stepRinseAgain
	stepFill
	stepBleach
	stepNeutraliseAgain
	stepTest
	stepDose
	stepInoculate
	stepAir
	steps
)

var titles = [steps]struct {
	kind  ingest.Kind
	title string
}{
	{ingest.Clean, "Clean it out"},
	{ingest.Chlorinate, "Fill with water and bleach, leave it"},
	{ingest.Neutralise, "Thiosulfate in"},
	{ingest.Dump, "Pour it out"},
	{ingest.Rinse, "Rinse with clean water"},
	{ingest.AcidRinse, "Rinse with acid"},
	{ingest.Rinse, "Rinse with clean water again"},
	{ingest.Fill, "Fill with seawater"},
	{ingest.Chlorinate, "A little bleach again, leave it"},
	{ingest.Neutralise, "Thiosulfate in, let it mix"},
	{ingest.ChlorineTest, "Test: the water must show no chlorine"},
	{ingest.Dose, "Nutrients in"},
	{ingest.Inoculate, "Take water out, put the inoculum in"},
	{ingest.Set, "Vent open, then air on"},
}

const (
	// UsualContact is how long bleach stays (common practice: a day).
	UsualContact = 24 * time.Hour
	// Mixing is how long thiosulfate has to mix and act before a test tells
	// (common practice: some minutes).
	Mixing = 10 * time.Minute
)

// step takes in one entry about the vessel.
func (c *Cycle) step(e ingest.Entry) {
	if at, ok := c.place(e); ok {
		c.Done[at] = e.At
	}
	switch e.Kind {
	case ingest.Chlorinate, ingest.Neutralise, ingest.Fill, ingest.TopUp:
		if c.Done[stepInoculate].IsZero() {
			delete(c.Done, stepTest) // other water than the one that was tested
		}
	}
}

// place finds the step that an entry does.
func (c *Cycle) place(e ingest.Entry) (at int, ok bool) {
	done := func(i int) bool { return !c.Done[i].IsZero() }
	switch e.Kind {
	case ingest.Clean:
		return stepClean, true
	case ingest.Chlorinate:
		at = stepSoak
		if done(stepFill) {
			at = stepBleach
		}
		c.Contact[min(at-stepSoak, 1)] = contact(e)
		return at, true
	case ingest.Neutralise:
		if done(stepBleach) || done(stepFill) {
			return stepNeutraliseAgain, true
		}
		return stepNeutralise, true
	case ingest.Dump:
		c.dumped()
		return stepDump, true
	case ingest.Rinse:
		if done(stepAcid) {
			return stepRinseAgain, true
		}
		return stepRinse, true
	case ingest.AcidRinse:
		return stepAcid, true
	case ingest.Fill:
		c.hasA, c.hasB = false, false
		return stepFill, true
	case ingest.ChlorineTest:
		free := testOf(e).Free()
		if !free { // thiosulfate again
			delete(c.Done, stepTest)
			delete(c.Done, stepNeutraliseAgain)
			c.Contact[1] = 0
		}
		return stepTest, free && (done(stepFill) || done(stepBleach))
	case ingest.Dose:
		_, a := e.Float("a_ml")
		_, b := e.Float("b_ml")
		c.hasA, c.hasB = c.hasA || a, c.hasB || b
		return stepDose, !done(stepInoculate) && (c.hasA && c.hasB || !a && !b)
	case ingest.Inoculate:
		return stepInoculate, true
	case ingest.Set:
		air, said := e.Float("air_lpm")
		return stepAir, said && air > 0 && done(stepInoculate)
	}
	return 0, false
}

// dumped makes the first soak of what looked like the second: a vessel that
// was filled with water to be bleached and is poured out again.
func (c *Cycle) dumped() {
	for from, to := range map[int]int{stepBleach: stepSoak, stepNeutraliseAgain: stepNeutralise} {
		if at := c.Done[from]; !at.IsZero() {
			c.Done[to] = at
		}
	}
	for i := stepFill; i < steps; i++ {
		delete(c.Done, i)
	}
}

func contact(e ingest.Entry) time.Duration {
	if h, ok := e.Float("contact_h"); ok {
		return time.Duration(h * float64(time.Hour))
	}
	return UsualContact
}

// Steps returns the checklist.
func (c Cycle) Steps() []Step {
	out := make([]Step, steps)
	last := -1
	for i := range out {
		out[i] = Step{Kind: titles[i].kind, Title: titles[i].title, Done: c.Done[i]}
		if !out[i].Done.IsZero() {
			last = i
		}
	}
	for i := range last {
		out[i].Skipped = out[i].Done.IsZero()
	}
	if next := last + 1; next < steps {
		out[next].Next, out[next].Due = true, c.due(next)
		if !out[next].Due.IsZero() {
			out[next].From = c.Done[next-1]
		}
	}
	return out
}

// due is when the waiting before a step is over; zero where there is none.
func (c Cycle) due(step int) time.Time {
	wait := map[int]time.Duration{stepNeutralise: c.Contact[0], stepNeutraliseAgain: c.Contact[1], stepTest: Mixing}
	before := c.Done[step-1]
	if d := wait[step]; d > 0 && !before.IsZero() {
		return before.Add(d)
	}
	return time.Time{}
}
