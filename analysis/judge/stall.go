package judge

import (
	"fmt"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/track"
)

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
	g, is := b.worst(&b.Course.Gaps, behindCourse, func(_ expect.Window, g expect.Gap) bool {
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
	b.findStall(b.Held[stalled]-int64(g.Hours)*hourMs, sureOf(g), "net growth, last day", behind(g), b.dueGrowth())
}

// behind tells a gap in words.
func behind(g expect.Gap) string {
	over := fmt.Sprintf("%d h", g.Hours)
	if g.Hours > 48 {
		over = fmt.Sprintf("%.0f days", float64(g.Hours)/24)
	}
	if g.Seen < 0 {
		return fmt.Sprintf("Not growing, %.0f %% less in %s where %s was due", lost(g.Seen), over, more(g.Expected))
	}
	return fmt.Sprintf("Hardly growing, %s in %s where %s was due", more(g.Seen), over, more(g.Expected))
}

// more tells a growth of log density: "12 % more", or "3.4 times as much".
func more(change float64) string {
	if change > math.Log(3) {
		return fmt.Sprintf("%.1f times as much", math.Exp(change))
	}
	return fmt.Sprintf("%.0f %% more", -lost(change))
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
	g := b.Track.Day
	if !(g.PerDay+slowestSure*g.Error < expect.Slowest) {
		return false
	}
	if s := b.strain(); s.WideFor == "" {
		return false
	}
	age := time.Duration(b.now-b.Track.Since) * time.Millisecond
	unlit := b.DarkBad != 0 && b.now-b.DarkBad < (24*time.Hour).Milliseconds()
	return age > expect.Lag && !unlit && !b.nearlyReady()
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
		Cause:    b.whyStalled(),
		First:    "Check that parts A and B were dosed, then look through the microscope.",
		Sure:     sure,
		Evidence: []analysis.Evidence{{Name: evidence, Value: b.Track.Day.PerDay, Normal: due, Unit: "1/d"}}})
}

// grewOnce is the log density above its start from which on a lot has grown: a
// quarter, more than lots gain by settling in.
const grewOnce = 0.22

// whyStalled names what is likely, what fits best first: what never grew had a
// bad start, what grew has run short of something.
func (b *bench) whyStalled() string {
	t := b.Track
	if ph := t.Acidity.Highest(); ph >= track.OutOfCarbon {
		return fmt.Sprintf("too little carbon (pH up to %.1f): weak air, or more cells than it feeds", ph)
	}
	if level, _, ok := t.Level(t.Latest, hour); ok && level-t.StartLog > grewOnce {
		return "nutrients or carbon run short (a forgotten dose, weak air), or it is sick"
	}
	return "a dead or thin inoculum, a forgotten dose, or chlorine left over"
}

const (
	// slowEvery is over how many hours the gaps are that are summed up, each after
	// the last, and slowAllowed the share of their standard error that may lack
	// every time: half of the shift that is to be told soonest.
	slowEvery, slowAllowed = 6, 0.5
	// slowRun is how many of them a lot on its course goes through until it is told
	// of by mistake, on average: a year of one vessel. It wakes nobody.
	slowRun = 365 * 24 / slowEvery
)

// slowMost is the sum from which on a lot lags behind.
var slowMost = Threshold(slowAllowed, slowRun)

// sumUp adds the newest hours to what the lot lacks.
func (c *course) sumUp() {
	if c.Running.Hours%slowEvery != 0 {
		return
	}
	for k, w := range expect.Windows {
		if g := c.Gaps.All[k]; w.Hours == slowEvery && !w.Strange && g.Hours > 0 {
			c.Lacks = c.Lacks.Step(-g.Z(), slowAllowed)
		}
	}
}

// lags returns the gap of the last day where a little has been lacking for so
// long that together it is no chance.
func (b *bench) lags() (g expect.Gap, is bool) {
	if !b.Course.Lacks.Signals(slowMost) {
		return g, false
	}
	for k, w := range expect.Windows {
		if gap := b.Course.Gaps.All[k]; w.Hours == dayHours && !w.Strange && gap.Hours > 0 {
			return gap, gap.Seen > 0 && gap.Seen < gap.Expected
		}
	}
	return g, false
}

// slowly tells by day of a lot that grows, but comes late.
func (b *bench) slowly() {
	g, is := b.worst(&b.Course.Gaps, behindCourse, func(_ expect.Window, g expect.Gap) bool {
		return g.Hours >= stallOver && g.Expected-g.Seen > stallLeast && g.Seen > 0
	})
	if !is {
		g, is = b.lags()
	}
	is = is && b.Course.Ripe == 0 && b.Held[stalled] == 0 && b.Held[crashing] == 0 && b.Held[falls] == 0
	if is {
		b.Late = g
	}
	if b.hold(late, is || b.Held[late] != 0 && b.Course.Ripe == 0 && b.Held[stalled] == 0 && b.off(-1, 24)) == 0 || !b.lasted(late, bornOut) {
		return
	}
	g = b.Late
	b.find(analysis.Notice, 0, b.Held[late]-int64(g.Hours)*hourMs, analysis.Finding{
		What:  fmt.Sprintf("Slow but growing, %s in %d h where %s was due", more(g.Seen), g.Hours, more(g.Expected)),
		Cause: "less light, air or food than its sisters have, or a slow lot",
		First: "Compare its lamp, air and dose with its neighbours'; it will be late.",
		Sure:  sureOf(g),
		Evidence: []analysis.Evidence{
			{Name: fmt.Sprintf("growth in %d h", g.Hours), Value: -lost(g.Seen), Normal: -lost(g.Expected), Unit: "%"}}})
}
