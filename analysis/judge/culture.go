package judge

import (
	"fmt"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

const hour = int32(time.Hour / track.BinLength)

// afterAir is how long a culture whose air was out of order is not accused:
// settled cells come back into the beam within hours of mixing.
const afterAir = 3 * time.Hour

// afterStep is how long a culture is not accused after a step that nobody
// explained: a day, in which somebody comes by.
const afterStep = 24 * time.Hour

// dryBelow is the share of the density that a step leaves below which the probe
// no longer looks at the culture, for as long as nobody says what was done: who
// harvests leaves a third or more to go on with.
const dryBelow = 0.35

func (b *bench) culture() {
	b.follow()
	if b.ODBad != 0 && b.now-b.ODBad < afterAir.Milliseconds() || !b.seen() || b.Track.Since == 0 {
		b.acquit()
		return
	}
	if hit, open := b.Track.Question(); open && !b.settled(hit.At) && (b.now-hit.At < afterStep.Milliseconds() || hit.Ratio < dryBelow) {
		// What the probe looks at is not known; that is asked elsewhere.
		b.acquit()
		return
	}
	b.grow()
	if b.lasted(filmed, bornOut) { // what its probe says is of the film
		for _, c := range [...]int{crashing, stalled, falls, late} {
			b.Held[c] = 0
		}
		return
	}
	b.crash()
	b.stall()
	b.slowly()
}

// seen reports whether the culture has been seen of late, at either wavelength.
func (b *bench) seen() bool {
	return b.fresh(unit.OD, crashing, stalled, grown) || b.Track.Second.At != 0
}

// confirmed reports whether the second wavelength bears a change of log density
// out, where there is one: by half of it or more.
func (b *bench) confirmed(change float64) (yes, told bool) {
	c := &b.Track.Second
	if !c.Known() || c.Apart == 0 {
		return false, false
	}
	// What od2 shows is the change and what the two are apart by.
	return math.Abs(change+float64(c.Apart)) >= math.Abs(change)/2 && (change+float64(c.Apart))*change > 0, true
}

// acquit drops what is held against the culture.
func (b *bench) acquit() {
	for _, c := range [...]int{crashing, stalled, grown, filmed, falls, late} {
		b.Held[c] = 0
	}
	b.Peak = 0
}

// worst returns the gap that lies furthest beyond its limit for an accusation,
// among those that ok is true for.
func (b *bench) worst(gaps *gaps, accusation int, ok func(expect.Window, expect.Gap) bool) (worst expect.Gap, found bool) {
	if accusation == aheadOfCourse && gaps.High < leastLimit || accusation != aheadOfCourse && gaps.Low > -leastLimit {
		return worst, false
	}
	limits, most, sign := &b.limits()[accusation], 0.0, -1.0
	if accusation == aheadOfCourse {
		sign = 1
	}
	for k, g := range gaps.All {
		if beyond := sign*g.Z() - limits[k]; g.Hours > 0 && beyond > most && ok(expect.Windows[k], g) {
			worst, found, most = g, true, beyond
		}
	}
	return worst, found
}

// off reports whether the window of that many hours is still off its course.
func (b *bench) off(sign float64, hours int) bool {
	for k, g := range b.Course.Gaps.All {
		if w := expect.Windows[k]; w.Hours == hours && !w.Strange && g.Hours > 0 {
			return sign*g.Z() > backWithin
		}
	}
	return true // not known to be back
}

// backWithin is within how many standard errors of its course a lot must be
// over a day to be back on it.
const backWithin = 2

const (
	// fallLeast is the least loss of log density against the course that may be
	// called a crash: 7 per cent, more than what most nights cost and what a
	// probe strays by in hours.
	fallLeast = 0.07
	// fallRate is the least pace of the last three hours, 1/d: what half a
	// day of it would cost stands out of any night.
	fallRate = -0.3
	// fallsOver is the least that a fall takes, h: what is faster is handling.
	fallsOver = 2
	// fallsWithin is how long a fall may take to be a crash, h: what takes longer
	// is a lot that does not grow.
	fallsWithin = 36
)

// stillFalls is the share of its mean pace that a fall must have kept in the last
// hour: a draw or a hand is over by then.
const stillFalls = 0.3

func (b *bench) still(g expect.Gap) bool {
	for k, hour := range b.Course.Now.All {
		if expect.Windows[k].Hours == 1 && hour.Hours == 1 {
			return hour.Seen < stillFalls*g.Seen/float64(g.Hours)
		}
	}
	return false
}

// handling is how long a fall is watched before it is called: a look more where
// it began with nobody there, else as long as carboys are siphoned.
func (b *bench) handling() time.Duration {
	const siphoned = time.Hour
	if b.Staffed != nil && b.Staffed(time.UnixMilli(b.Held[falls]).Add(-siphoned)) {
		return siphoned
	}
	return track.BinLength
}

// fallen is after how long a fall that is over is called all the same: nothing
// that settled or was in the beam has come back. By day it is most likely a draw
// that is written down by evening.
func (b *bench) fallen() time.Duration {
	if b.Staffed != nil && b.Staffed(time.UnixMilli(b.Held[falls])) {
		return 12 * time.Hour
	}
	return 3 * time.Hour
}

// afterFall is how long a lot that fell and grows again is not called slow: as
// far back as its course is remembered.
const afterFall = expect.Kept * time.Hour

// fell is what makes a gap a crash: the density itself came down.
func (b *bench) fell(w expect.Window, g expect.Gap) bool {
	if w.Strange || g.Hours < fallsOver || g.Hours > fallsWithin {
		return false
	}
	least := fallLeast
	if b.young() {
		least = -math.Log(1 - expect.YoungLoss)
	}
	return g.Seen < -least && g.Expected-g.Seen > fallLeast
}

// young reports whether the lot is so young that it may lose much before it
// settles in, and nothing was learnt of how lots of its strain do.
func (b *bench) young() bool {
	if b.now-b.Track.Since >= expect.Young.Milliseconds() {
		return false
	}
	s := b.strain()
	return s.WideFor != ""
}

func (b *bench) crash() {
	t := b.Track
	g, is := b.worst(&b.Course.Now, falling, b.fell)
	// A draw falls too.
	sinking := t.Hours.PerDay < fallRate && t.Hours.PerDay+2*t.Hours.Error < 0 && !t.Working()
	if b.Held[crashing] == 0 {
		b.hold(falls, is && (sinking || b.Held[falls] != 0))
		if yes, told := b.confirmed(g.Seen); is && told && !yes {
			b.Held[falls] = 0 // the probe's: the other does not see it
			return
		}
		goesOn := sinking && b.still(g) && b.lasted(falls, b.handling())
		if !goesOn && !b.lasted(falls, b.fallen()) {
			return
		}
		b.Peak = b.Held[falls] - int64(g.Hours)*hourMs
	}
	if is {
		b.Gap = g
	}
	if b.hold(crashing, is || b.off(-1, 24)) == 0 {
		b.Held[falls], b.Peak = 0, 0
		return
	}
	b.Fell = b.now
	b.find(analysis.Crash, 0, b.Peak, analysis.Finding{
		Normal: b.normal(),
		What:   b.loss(),
		Cause:  "grazers, bacteria or a virus (od cannot tell)",
		First:  "Look for foam, smell and clumps, then the microscope; start nothing from it.",
		Sure:   sureOf(b.Gap),
		Evidence: []analysis.Evidence{
			{Name: fmt.Sprintf("density lost in %d h", b.Gap.Hours), Value: lost(b.Gap.Seen), Normal: lost(b.Gap.Expected), Unit: "%"},
			{Name: "net growth, last 3 h", Value: t.Hours.PerDay, Normal: b.dueGrowth(), Unit: "1/d"}}})
}

func (b *bench) loss() string {
	if _, _, ok := b.Track.Level(b.Track.Latest, hour); !ok {
		return "Density fell until nothing is left to be seen"
	}
	now := lost(b.Track.Hours.PerDay / 24)
	if !(now > standsStill) {
		return fmt.Sprintf("Density fell, %.0f %% lost in %d h, and has not come back", lost(b.Gap.Seen), b.Gap.Hours)
	}
	return fmt.Sprintf("Density falling, %.0f %% lost in %d h, %.0f %% an hour now", lost(b.Gap.Seen), b.Gap.Hours, now)
}

// standsStill is the loss in per cent an hour below which a fall is over.
const standsStill = 0.5

// lost is a change of log density as a loss in per cent.
func lost(change float64) float64 { return -100 * math.Expm1(change) }

// dueGrowth is the net growth of the last day by the course, 1/d; NaN unknown.
func (b *bench) dueGrowth() float64 {
	for _, g := range b.Course.Gaps.All {
		if g.Hours == 24 {
			return g.Expected
		}
	}
	return math.NaN()
}

// sureOf is the probability that a gap is none of the course's own, held at
// what nothing measured by one probe can exceed.
func sureOf(g expect.Gap) float64 {
	return math.Min(0.95, math.Erf(math.Abs(g.Z())/2/math.Sqrt2))
}

// normal lists the surroundings that are as they should be.
func (b *bench) normal() []string {
	var out []string
	v := b.Vessel
	if (b.Lamp.whole() || v.LightHours > 0) && b.fresh(unit.Light) && b.Held[lampDark] == 0 && b.Held[lampOn] == 0 {
		out = append(out, "light")
	}
	if !math.IsNaN(v.TempC) && v.TempC != 0 && b.fresh(unit.Temperature) && b.Held[tooWarm] == 0 && b.Held[tooCold] == 0 {
		out = append(out, "temperature")
	}
	if b.fresh(unit.Airflow) && b.Held[airOff] == 0 && b.Held[airWeak] == 0 {
		out = append(out, "air")
	}
	return out
}
