package judge

import (
	"fmt"
	"math"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

const (
	// excessLeast is the least log density above the course that is something
	// else growing: a sixth, more than probes stray and lots hurry in a day.
	excessLeast = 0.155
	// excessOver and excessWithin are the lengths of the windows that tell it, h:
	// bacteria double within hours, so that from next to nothing to a sixth of
	// the culture is about a day; what takes longer is a lot at a good pace.
	excessOver, excessWithin = 4, 36
	// plain is an excess, log density, that calls whatever its shape.
	plain = 2 * excessLeast
)

// grow looks for a density that rises faster than the lot's course allows, and
// for what makes it rise.
func (b *bench) grow() {
	g, is := b.worst(&b.Course.Gaps, aheadOfCourse, func(w expect.Window, g expect.Gap) bool {
		return !w.Strange && g.Hours >= excessOver && g.Hours <= excessWithin && g.Seen-g.Expected > excessLeast
	})
	if is {
		b.Excess = g
	}
	switch told := b.lasted(grown, bornOut) || b.lasted(filmed, bornOut); {
	case told && (is || b.off(1, 24) || b.Night.From != 0): // goes on
	case is && !told:
		if b.Blamed != b.Course.Running.Hours { // the hours are new
			b.Blamed = b.Course.Running.Hours
			b.blame(g)
		}
	default:
		b.Held[grown], b.Held[filmed] = 0, 0
	}
	if b.lasted(filmed, bornOut) {
		b.film()
	} else if b.lasted(grown, bornOut) && b.Night.Sick == 0 {
		b.overgrown()
	}
}

// blame holds against the probe or the culture what explains the excess; a lot
// that only is in a hurry is blamed for nothing.
func (b *bench) blame(g expect.Gap) {
	cause := b.Course.Running.Why(max(g.Hours, halfDay))
	if yes, told := b.confirmed(g.Seen - g.Expected); told && !yes {
		b.hold(filmed, true) // the other wavelength has no such excess
		return
	} else if yes && cause == expect.Film {
		cause = expect.Unclear
	}
	b.hold(filmed, cause == expect.Film && b.newAtNight())
	b.hold(grown, cause == expect.Bloom || cause == expect.Unclear && g.Seen-g.Expected > plain)
}

// newAtNight reports whether the newest night that was seen rose by more than
// the lot's earlier ones: what has always grown by night is no film.
func (b *bench) newAtNight() bool {
	n := &b.Night
	newest, earlier := n.Rate.PerDay, n.Past[nights-int(n.Known):]
	if math.IsNaN(newest) {
		if n.Known == 0 {
			return false
		}
		newest, earlier = float64(n.Past[nights-1]), earlier[:len(earlier)-1]
	}
	usual := 0.0
	for _, past := range earlier {
		usual = math.Max(usual, float64(past))
	}
	return newest > usual+darkGrowth/2
}

func (b *bench) overgrown() {
	g := b.Excess
	b.find(analysis.Contaminated, 0, b.Held[grown]-int64(g.Hours)*hourMs, analysis.Finding{
		Normal: b.normal(),
		What:   fmt.Sprintf("Density rising too fast, %s in %d h where %s was due", more(g.Seen), g.Hours, more(g.Expected)),
		Cause:  "bacteria or others that grow beside it, or a film on the probe (od cannot tell)",
		First:  "Smell it and look through the microscope; wipe the probe; start nothing from it.",
		Sure:   math.Min(sureOf(g), 0.7),
		Evidence: []analysis.Evidence{
			{Name: fmt.Sprintf("growth in %d h", g.Hours), Value: 100 * math.Expm1(g.Seen), Normal: 100 * math.Expm1(g.Expected), Unit: "%"}}})
}

// film accuses the probe: its od creeps up by day and by night alike.
func (b *bench) film() {
	g := b.Excess
	b.find(analysis.Sensor, unit.OD, b.Held[filmed]-int64(g.Hours)*hourMs, analysis.Finding{
		What:  fmt.Sprintf("The od creeps up by day and night alike, %.0f %% too much after %d h", 100*math.Expm1(g.Seen-g.Expected), g.Hours),
		Cause: "a film or a bubble on the probe's window",
		First: "Wipe the probe and enter it; if the od stays, look through the microscope.",
		Sure:  math.Min(sureOf(g), 0.7),
		Evidence: []analysis.Evidence{
			{Name: fmt.Sprintf("rise in %d h", g.Hours), Value: 100 * math.Expm1(g.Seen), Normal: 100 * math.Expm1(g.Expected), Unit: "%"}}})
}
