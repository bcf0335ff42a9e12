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

const (
	hour = int32(time.Hour / track.BinLength)
	day  = 24 * hour
)

// fall is how far the density has come down, worked out once a bin.
type fall struct {
	Index  int32   // newest bin that was looked at
	Now    float64 // log density lost since the highest hour of the last day; NaN unknown
	Error  float64
	Before float64 // the most that was lost in the day before, night included; NaN unknown, or not asked
	Peak   int32   // bin of the highest hour
	Growth float64 // net growth over the last three hours, 1/d
}

// afterAir is how long a culture whose air was out of order is not accused:
// settled cells come back into the beam within hours of mixing.
const afterAir = 3 * time.Hour

// afterStep is how long a culture is not accused after a step that nobody
// explained: a day, in which somebody comes by.
const afterStep = 24 * time.Hour

func (b *bench) culture() {
	if b.ODBad != 0 && b.now-b.ODBad < afterAir.Milliseconds() || !b.fresh(unit.OD, crashing, stalled) || b.Track.Since == 0 {
		b.Held[crashing], b.Held[stalled], b.Peak = 0, 0, 0
		return
	}
	if hit, open := b.Track.Question(); open && !b.settled(hit.At) && b.now-hit.At < afterStep.Milliseconds() {
		// What the probe looks at is not known; that is asked elsewhere.
		b.Held[crashing], b.Held[stalled], b.Peak = 0, 0, 0
		return
	}
	b.measureFall()
	b.crash()
	b.stall()
}

func (b *bench) measureFall() {
	t := b.Track
	if b.Fall.Index == t.Latest {
		return
	}
	nan := math.NaN()
	f := fall{Index: t.Latest, Now: nan, Before: nan, Growth: t.Hours.PerDay}
	now, e1, ok := t.Level(t.Latest, hour)
	if ok {
		top, e2, at := highest(t, t.Latest, b.undisturbed())
		f.Now, f.Error, f.Peak = top-now, math.Hypot(e1, e2), at
		// No lot that lost less than the least of a crash is one, whatever it
		// lost the night before, which is a day's work to find out.
		if f.Now > crashHolds*fallLeast {
			f.Before = drop(t, t.Latest-day, day)
		}
	}
	b.Fall = f
}

// undisturbed is how many bins back the density may be compared with: a day,
// and not over the settling and stirring of a time without air.
func (b *bench) undisturbed() int32 {
	if b.AirBad-b.AirFrom < settlesIn.Milliseconds() {
		return day
	}
	since := time.Duration(b.now-b.AirBad) * time.Millisecond
	return int32(max(min(since-afterAir, 24*time.Hour), 0) / track.BinLength)
}

// highest finds the highest hour among the n bins that end with index.
func highest(t *track.State, index, n int32) (top, sigma float64, at int32) {
	top = math.Inf(-1)
	for i := index - n + hour; i <= index; i += hour / 2 {
		if l, e, ok := t.Level(i, hour); ok && l > top {
			top, sigma, at = l, e, i
		}
	}
	return top, sigma, at
}

// drop is the most that was lost from a high to a later low within n bins.
func drop(t *track.State, index, n int32) float64 {
	top, most, points := math.Inf(-1), 0.0, 0
	for i := index - n + hour; i <= index; i += hour / 2 {
		l, _, ok := t.Level(i, hour)
		if !ok {
			continue
		}
		points++
		top = math.Max(top, l)
		most = math.Max(most, top-l)
	}
	if points < int(n/hour) {
		return math.NaN()
	}
	return most
}

const (
	// fallLeast is the least loss of log density that may be called a crash:
	// a tenth, twice what most nights cost (1 to 5 %).
	fallLeast = 0.105
	// crashHolds is the share of its limit below which a crash is over.
	crashHolds = 0.8
	// fallRate is the least pace of the last three hours, 1/d: what half a
	// day of it would cost stands out of any night.
	fallRate = -0.3
)

// allowed is the loss of log density that a healthy lot of this age may show.
func (b *bench) allowed() float64 {
	if b.now-b.Track.Since < expect.Young.Milliseconds() {
		return -math.Log(1 - expect.YoungLoss)
	}
	if math.IsNaN(b.Fall.Before) {
		return -math.Log(1 - expect.NightLoss)
	}
	// Its own last night, half as much again: nights of one lot are alike,
	// and warmer or denser ones cost more.
	return math.Max(fallLeast, 1.5*b.Fall.Before)
}

func (b *bench) crash() {
	f := b.Fall
	limit := b.allowed() + 4*f.Error
	if b.Held[crashing] != 0 {
		limit *= crashHolds
	}
	settled := b.AirBad != 0 && b.now-b.AirBad < afterAir.Milliseconds()
	falling := f.Growth < fallRate && f.Growth+2*b.Track.Hours.Error < 0 && !b.Track.Working() // a draw falls too
	is := !settled && f.Now > limit && (falling || b.Held[crashing] != 0)
	if math.IsNaN(f.Now) && b.Held[crashing] != 0 {
		b.gone()
		return
	}
	if b.hold(crashing, is) == 0 {
		b.Peak = 0
		return
	}
	if b.Peak == 0 { // it began at its highest hour, as far as can be told
		b.Peak = int64(f.Peak+1) * track.BinLength.Milliseconds()
	}
	lost := 1 - math.Exp(-f.Now)
	b.find(analysis.Crash, 0, b.Peak, analysis.Finding{
		Normal: b.normal(),
		What:   fmt.Sprintf("Density falling, %.0f %% lost, %.0f %% an hour now", 100*lost, 100*(1-math.Exp(f.Growth/24))),
		Cause:  "grazers, bacteria or a virus (od cannot tell)",
		First:  "Look for foam, smell and clumps, then the microscope; start nothing from it.",
		Sure:   0.9,
		Evidence: []analysis.Evidence{
			{Name: "density lost", Value: 100 * lost, Normal: 100 * (1 - math.Exp(-b.allowed())), Unit: "%"},
			{Name: "net growth, last 3 h", Value: f.Growth, Normal: b.Track.Day.PerDay, Unit: "1/d"}}})
}

// gone stands by a crash whose density has sunk into the noise of its probe:
// it has not recovered, it is over.
func (b *bench) gone() {
	b.find(analysis.Crash, 0, b.Peak, analysis.Finding{
		Normal: b.normal(),
		What:   "Density fell until nothing is left to be seen",
		Cause:  "grazers, bacteria or a virus (od cannot tell)",
		First:  "Look for foam, smell and clumps, then the microscope; start nothing from it.",
		Sure:   0.9,
		Evidence: []analysis.Evidence{
			{Name: "od above blank", Value: b.Track.Smooth() - b.Track.Blank, Normal: math.NaN()}}})
}

// stallFor is how long a lot must have failed to grow: with growth itself
// taken over a day this is a day and a half, in which the lamp has had its
// whole say.
const stallFor = 12 * time.Hour

// stallSure is by how many standard errors the growth must be too slow: looked
// at every few minutes for a week, two are passed by chance.
const stallSure = 3

// nearReady is the share of the harvest density from which on slowing is the
// rule, as the vessel darkens.
const nearReady = 0.7

func (b *bench) stall() {
	t := b.Track
	g := t.Day
	age := time.Duration(b.now-t.Since) * time.Millisecond
	unlit := b.DarkBad != 0 && b.now-b.DarkBad < (24*time.Hour).Milliseconds()
	noAir := b.AirBad != 0 && b.now-b.AirBad < (24*time.Hour).Milliseconds()
	slow := age > expect.Lag && g.PerDay+stallSure*g.Error < expect.Slowest && !unlit && !noAir && !b.ready() && b.Held[crashing] == 0
	if b.hold(stalled, slow) == 0 || !b.lasted(stalled, stallFor) {
		return
	}
	b.findStall(b.Held[stalled]-(24*time.Hour).Milliseconds(), 0.85, "net growth, last day",
		fmt.Sprintf("Not growing, %.2f a day where at least %.2f is due", g.PerDay, expect.Slowest))
}

// findStall finds that the lot does not grow as it must, by what tells of it.
func (b *bench) findStall(since int64, sure float64, evidence, what string) {
	b.find(analysis.Stall, 0, since, analysis.Finding{
		Normal:   b.normal(),
		What:     what,
		Cause:    "a forgotten dose, a dead inoculum or too little carbon",
		First:    "Check that parts A and B were dosed, then look through the microscope.",
		Sure:     sure,
		Evidence: []analysis.Evidence{{Name: evidence, Value: b.Track.Day.PerDay, Normal: expect.Slowest, Unit: "1/d"}}})
}

// ready reports whether the lot is so near its harvest that slowing is the
// rule; where no harvest density is known, whether it is four times what it
// was at its start.
func (b *bench) ready() bool {
	t := b.Track
	od := t.Smooth() - t.Blank
	want := t.HarvestOD
	if want == 0 {
		want = b.Vessel.HarvestOD
	}
	if want > 0 {
		return od >= nearReady*want
	}
	level, _, ok := t.Level(t.Latest, hour)
	return ok && level-t.StartLog > math.Log(4)
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
