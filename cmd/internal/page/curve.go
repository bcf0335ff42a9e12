package page

import (
	"math"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// curve is the small picture of a lot's course: density on a logarithmic
// scale against time, 280 by 64 units.
type curve struct {
	Title, Desc string
	Band        string // path of the expected course
	Line        string // path of what was seen
	Harvest     string // height of the harvest line, empty if there is none
	NowX, NowY  string // the newest point
	Empty       bool
}

const (
	curveWidth  = 280
	curveHeight = 64
	curveEdge   = 5
	curvePoints = 42 // more cannot be told apart on a phone
	leastSpan   = 4  // highest over lowest density: a flat course must look flat
)

// aheadShown is how far ahead of now the small picture shows the expected
// course: as far as people plan their next two days.
const aheadShown = 48 * time.Hour

// smallCurve draws the course of v.
func smallCurve(v VesselView, c clock) curve {
	trail := thin(v.Trail, curvePoints)
	k := curve{Title: "Course of " + isolate(v.Vessel.Name)}
	if usable(trail) < 2 {
		k.Empty, k.Desc = true, "No course yet."
		return k
	}
	x := timeScale{from: trail[0].At, to: trail[len(trail)-1].At, a: curveEdge, b: curveWidth - curveEdge}
	band := within(v.Expected, x.from, c.now.Add(aheadShown))
	if n := len(band); n > 0 && band[n-1].At.After(x.to) {
		x.to = band[n-1].At
	}
	band = thin(band, curvePoints/3)
	y := densityScale(trail, band, v.harvestOD(), curveHeight-curveEdge, curveEdge)
	k.Line, k.Band = line(trail, x, y), area(band, x, y)
	if h := v.harvestOD(); h > 0 && h <= math.Exp(y.hi)*1.0001 {
		k.Harvest = coordinate(y.at(h))
	}
	for _, p := range trail {
		if y.holds(p.Value) {
			k.NowX, k.NowY = coordinate(x.at(p.At)), coordinate(y.at(p.Value))
		}
	}
	k.Desc = courseDesc(trail, band, v.harvestOD(), c)
	return k
}

// usable counts the points that a logarithmic scale can hold.
func usable(points []analysis.Point) int {
	n := 0
	for _, p := range points {
		if finite(p.Value) && p.Value > 0 {
			n++
		}
	}
	return n
}

func within(band []CourseBand, from, to time.Time) []CourseBand {
	var out []CourseBand
	for _, b := range band {
		if !b.At.Before(from) && !b.At.After(to) {
			out = append(out, b)
		}
	}
	return out
}

// leastDensity is the lowest density a logarithmic scale shows: below it the
// probe's own error is all there is.
const leastDensity = 0.005

// densityScale holds the points and the band; the harvest line too, unless it
// is so far off that the course would shrink to a streak.
func densityScale(points []analysis.Point, band []CourseBand, harvest, bottom, top float64) scale {
	lo, hi := math.Inf(1), math.Inf(-1)
	see := func(v float64) {
		if finite(v) && v > 0 {
			lo, hi = min(lo, max(v, leastDensity)), max(hi, v)
		}
	}
	for _, p := range points {
		see(p.Value)
	}
	for _, b := range band {
		see(b.Low)
		see(b.High)
	}
	const farOff = 30
	if harvest > 0 && harvest < hi*farOff {
		see(harvest)
	}
	if math.IsInf(lo, 0) {
		lo, hi = 0.01, 1
	}
	hi = max(hi, lo)
	if hi/lo < leastSpan {
		f := math.Sqrt(leastSpan * lo / hi)
		lo, hi = lo/f, hi*f
	}
	return scale{lo: math.Log(lo), hi: math.Log(hi * 1.05), a: bottom, b: top, log: true}
}

// courseDesc says in words what the picture shows.
func courseDesc(trail []analysis.Point, band []CourseBand, harvest float64, c clock) string {
	first, last := trail[0], trail[len(trail)-1]
	say := []string{"density " + figure(first.Value) + " on " + c.day(first.At) + ", " + figure(last.Value) + " now"}
	if b, ok := bandAt(band, last.At); ok {
		word := "within"
		switch {
		case last.Value < b.Low:
			word = "below"
		case last.Value > b.High:
			word = "above"
		}
		say = append(say, word+" the expected "+figure(b.Low)+" to "+figure(b.High))
	}
	if harvest > 0 {
		say = append(say, "harvest at "+plain(harvest))
	}
	return sentence(strings.Join(say, "; "))
}

// bandAt returns the expected course nearest to t, if it reaches there.
func bandAt(band []CourseBand, t time.Time) (CourseBand, bool) {
	const reach = 6 * time.Hour
	var best CourseBand
	found, least := false, reach
	for _, b := range band {
		if d := b.At.Sub(t).Abs(); d <= least && finite(b.Low) && finite(b.High) {
			best, least, found = b, d, true
		}
	}
	return best, found
}

// harvestWindow returns the days between which the expected course reaches od:
// the time its upper and its lower end do. Either is zero where it does not.
func harvestWindow(band []CourseBand, now time.Time, od float64) (early, late time.Time) {
	if od <= 0 {
		return
	}
	for _, b := range band {
		if b.At.Before(now) {
			continue
		}
		if early.IsZero() && b.High >= od {
			early = b.At
		}
		if late.IsZero() && b.Low >= od {
			late = b.At
		}
	}
	return early, late
}
