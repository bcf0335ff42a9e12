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

func (b *bench) culture() {
	b.follow()
	if b.ODBad != 0 && b.now-b.ODBad < afterAir.Milliseconds() || !b.fresh(unit.OD, crashing, stalled, grown) || b.Track.Since == 0 {
		b.acquit()
		return
	}
	if hit, open := b.Track.Question(); open && !b.settled(hit.At) && b.now-hit.At < afterStep.Milliseconds() {
		// What the probe looks at is not known; that is asked elsewhere.
		b.acquit()
		return
	}
	b.grow()
	if b.lasted(filmed, bornOut) { // what its probe says is of the film
		for _, c := range [...]int{crashing, stalled, falls} {
			b.Held[c] = 0
		}
		return
	}
	b.crash()
	b.stall()
}

// acquit drops what is held against the culture.
func (b *bench) acquit() {
	for _, c := range [...]int{crashing, stalled, grown, filmed, falls} {
		b.Held[c] = 0
	}
	b.Peak = 0
}

// worst returns the gap that lies furthest beyond its limit, to the side of
// sign, among those that ok is true for.
func (b *bench) worst(gaps *[len(expect.Windows)]expect.Gap, sign float64, ok func(expect.Window, expect.Gap) bool) (worst expect.Gap, found bool) {
	limits, most := b.limits(), 0.0
	for k, g := range gaps {
		if beyond := sign*g.Z() - limits[k]; g.Hours > 0 && beyond > most && ok(expect.Windows[k], g) {
			worst, found, most = g, true, beyond
		}
	}
	return worst, found
}

// off reports whether the window of that many hours is still off its course.
func (b *bench) off(sign float64, hours int) bool {
	for k, g := range b.Course.Gaps {
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
	for k, hour := range b.Course.Now {
		if expect.Windows[k].Hours == 1 && hour.Hours == 1 {
			return hour.Seen < stillFalls*g.Seen/float64(g.Hours)
		}
	}
	return false
}

// handling is how long a fall is watched before it is called: two looks where it
// began with nobody there, else as long as carboys are siphoned.
func (b *bench) handling() time.Duration {
	const siphoned = time.Hour
	if b.Staffed != nil && b.Staffed(time.UnixMilli(b.Held[falls]).Add(-siphoned)) {
		return siphoned
	}
	return 2 * track.BinLength
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
	g, is := b.worst(&b.Course.Now, -1, b.fell)
	// A draw falls too.
	falling := t.Hours.PerDay < fallRate && t.Hours.PerDay+2*t.Hours.Error < 0 && !t.Working()
	if b.Held[crashing] == 0 {
		b.hold(falls, is && (falling || b.Held[falls] != 0))
		goesOn := falling && b.still(g) && b.lasted(falls, b.handling())
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
	return fmt.Sprintf("Density falling, %.0f %% lost in %d h, %.0f %% an hour now", lost(b.Gap.Seen), b.Gap.Hours,
		math.Max(0, 100*(1-math.Exp(b.Track.Hours.PerDay/24))))
}

// lost is a change of log density as a loss in per cent.
func lost(change float64) float64 { return -100 * math.Expm1(change) }

// dueGrowth is the net growth of the last day by the course, 1/d; NaN unknown.
func (b *bench) dueGrowth() float64 {
	for _, g := range b.Course.Gaps {
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

// bornOut is how long an hour's look must be borne out by the next ones: a hand,
// a clump or a bubble before the window is gone by then.
const bornOut = 2 * time.Hour

const (
	// stallLeast is the least log density that must be missing for a stall that
	// needs somebody: a seventh, a day's ration of a week's.
	stallLeast = 0.154
	// stallShare is the share of the growth that is due below which a lot stalls:
	// the week becomes two.
	stallShare = 0.5
	// stopShare is the same near the harvest, where slowing is the rule, and a stop
	// is not.
	stopShare = 0.2
	// stallOver is the least length of a window that tells a stall, h: less
	// is an afternoon.
	stallOver = 12
)

// stands reports whether a gap is a lot that stands still or nearly so: what
// makes half of its way comes late, and is told by day.
func (b *bench) stands(g expect.Gap) bool {
	share := stallShare
	if b.Course.Near {
		share = stopShare
	}
	return g.Expected-g.Seen > stallLeast && g.Seen < share*g.Expected
}

func (b *bench) stall() {
	noAir := b.AirBad != 0 && b.now-b.AirBad < (24*time.Hour).Milliseconds()
	g, is := b.worst(&b.Course.Gaps, -1, func(_ expect.Window, g expect.Gap) bool {
		return g.Hours >= stallOver && b.stands(g)
	})
	// One fault is one alarm: what crashed, or was overgrown, need not stall too.
	known := b.Held[crashing] != 0 || b.Held[falls] != 0 || b.Held[grown] != 0 || b.Night.Sick != 0 || b.Fell != 0 && b.now-b.Fell < afterFall.Milliseconds()
	if noAir || b.Course.Ripe != 0 || known {
		is = false
	}
	held := b.Held[stalled] != 0 && !known
	b.hold(slowest, !noAir && !known && b.tooSlow())
	if b.hold(stalled, is || held && b.Course.Ripe == 0 && b.off(-1, 24)) == 0 {
		if b.lasted(slowest, slowestFor) {
			b.findStall(b.Held[slowest]-(24*time.Hour).Milliseconds(), 0.85, "net growth, last day",
				fmt.Sprintf("Not growing, %.2f a day where at least %.2f is due", b.Track.Day.PerDay, expect.Slowest), expect.Slowest)
		}
		return
	}
	if is {
		b.Short = g
	}
	if !b.lasted(stalled, bornOut) {
		return
	}
	g = b.Short
	b.findStall(b.Held[stalled]-int64(g.Hours)*hourMs, sureOf(g), "net growth, last day",
		fmt.Sprintf("Grew %.0f %% in %d h where %.0f %% was due", -lost(g.Seen), g.Hours, -lost(g.Expected)), b.dueGrowth())
}

const (
	// slowestFor is how long a lot must have failed to grow by the literature alone:
	// with growth itself taken over a day this is a day and a half, in which the
	// lamp has had its whole say.
	slowestFor = 12 * time.Hour
	// slowestSure is by how many standard errors the growth must be too slow: looked
	// at every few minutes for a week, two are passed by chance.
	slowestSure = 3
)

// tooSlow reports whether a lot of which no sister was ever seen grows slower
// than any should.
func (b *bench) tooSlow() bool {
	if s := b.strain(); s.WideFor == "" {
		return false
	}
	g := b.Track.Day
	age := time.Duration(b.now-b.Track.Since) * time.Millisecond
	unlit := b.DarkBad != 0 && b.now-b.DarkBad < (24*time.Hour).Milliseconds()
	return age > expect.Lag && g.PerDay+slowestSure*g.Error < expect.Slowest && !unlit && !b.nearlyReady()
}

// nearlyReady reports whether the lot is so near its harvest that slowing is
// the rule; where no harvest density is known, whether it is four times what it
// was at its start.
func (b *bench) nearlyReady() bool {
	t := b.Track
	if t.HarvestOD > 0 || b.Vessel.HarvestOD > 0 {
		return b.Course.Near
	}
	level, _, ok := t.Level(t.Latest, hour)
	return ok && level-t.StartLog > math.Log(4)
}

// findStall finds that the lot does not grow as it must, by what tells of it.
func (b *bench) findStall(since int64, sure float64, evidence, what string, due float64) {
	b.find(analysis.Stall, 0, since, analysis.Finding{
		Normal:   b.normal(),
		What:     what,
		Cause:    "a forgotten dose, a dead inoculum or too little carbon",
		First:    "Check that parts A and B were dosed, then look through the microscope.",
		Sure:     sure,
		Evidence: []analysis.Evidence{{Name: evidence, Value: b.Track.Day.PerDay, Normal: due, Unit: "1/d"}}})
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
