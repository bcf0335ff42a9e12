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

// nights is how many of a lot's own nights are remembered.
const nights = 6

// night is what is known of a vessel's dark hours.
type night struct {
	From  int64           // Unix ms at which it got dark, 0: it is light
	Bin   int32           // newest half hour that was looked at
	Rate  track.Rate      // net growth since it got dark, 1/d; NaN unknown
	Past  [nights]float32 // net growth of this lot's nights so far, 1/d, the newest last
	Known int8
	Sick  int64 // Unix ms since when it grows in the dark, 0: it does not
	Doubt int64 // Unix ms at which that was first thought of a night
}

const (
	// darkShare is the share of the peak below which the lamp is off.
	darkShare = 0.03
	// darkAfter is how long it must have been dark before its growth is
	// measured: cells that were stirred or sank with the light's warmth are even
	// again, and what was taken up by day is still put into cells for a while.
	darkAfter = time.Hour
	// lookEvery is after how many bins the night's rate is worked out again: a
	// line through all of it is the dearest thing a judge asks for.
	lookEvery = 3
	// darkFor is how long of dark tells a rate.
	darkFor = 4 * time.Hour
	// darkGrowth is the net growth in the dark, 1/d, above anything a lot's own
	// nights have shown, from which on something else grows. Algae lose weight
	// in the dark; what dries off and what settles on a window make up a
	// twentieth a day at most (common practice: they are topped up and wiped once
	// a week), so a sixth a day is none of these.
	darkGrowth = 0.15
)

// dark looks for growth in the dark, which this lot never showed: evidence of
// something that needs no light, not proof.
func (b *bench) dark() {
	n := &b.Night
	if !b.fresh(unit.Light) || !b.fresh(unit.OD) || !(b.peak() > leastPeak) {
		n.From = 0
		return
	}
	light := b.Track.Newest[unit.Light]
	if light.Median() > max(darkShare*b.peak(), 0.5) {
		b.morning()
		return
	}
	half := b.Track.Latest / lookEvery
	if n.From == 0 {
		*n = night{From: b.now, Rate: track.Rate{PerDay: math.NaN()}, Past: n.Past, Known: n.Known, Sick: n.Sick, Doubt: n.Doubt}
	}
	if n.Bin == half {
		return
	}
	n.Bin = half
	n.Rate = b.darkRate()
	if math.IsNaN(n.Rate.PerDay) {
		return
	}
	limit := darkGrowth + b.usualNight()
	switch low := n.Rate.PerDay - 2*math.Hypot(n.Rate.Error, b.wander()); {
	case low > limit && n.Sick == 0:
		b.darkly()
	case n.Sick != 0 && n.Rate.PerDay < limit/2:
		n.Sick = 0 // another night has not borne it out
	}
}

// darkly blames the growth in the dark on a film or on something that grows, as
// its shape has it; where it has none yet that takes a second look.
func (b *bench) darkly() {
	n := &b.Night
	cause := b.Course.Running.Why(dayHours)
	switch {
	case cause == expect.Film:
		b.Held[filmed] = b.now - bornOut.Milliseconds()
		b.Excess = b.nightly()
	case cause == expect.Bloom || n.Doubt >= n.From && b.now-n.Doubt >= bornOut.Milliseconds():
		n.Sick = b.now
	case n.Doubt < n.From:
		n.Doubt = b.now
	}
}

// nightly is the growth of this night beside the loss that was due.
func (b *bench) nightly() expect.Gap {
	var g expect.Gap
	for _, gap := range b.Course.Gaps.All {
		if gap.Hours > 0 && gap.Hours <= int((b.now-b.Night.From)/hourMs) {
			g = gap
		}
	}
	return g
}

// leastWander is by how much od a probe strays over hours at the least: the
// third decimal of a good one in a room that cools by night.
const leastWander = 0.002

// wander is the error of the rate that a probe makes which strays slowly, by
// what it strayed in standing medium: constant in od, it drowns thin cultures.
func (b *bench) wander() float64 {
	density := b.Track.Smooth() - b.Track.Blank
	days := float64(b.now-b.Night.From-darkAfter.Milliseconds()) / float64((24 * time.Hour).Milliseconds())
	return math.Sqrt2 * math.Max(b.Track.BlankNoise, leastWander) / density / days
}

// darkRate is the net growth since it has been dark; NaN where it is not dark
// for long enough, or where air, probe or hands may have made it.
func (b *bench) darkRate() track.Rate {
	unknown := track.Rate{PerDay: math.NaN(), Error: math.NaN()}
	from := b.Night.From + darkAfter.Milliseconds()
	if b.now-from < darkFor.Milliseconds() || b.AirBad > b.Night.From || b.ODBad > b.Night.From || b.Track.Handled.At > b.Night.From ||
		b.Track.LastHit.At > b.Night.From {
		return unknown
	}
	return b.Track.Slope(from)
}

// usualNight is the most that this lot has grown in any of its nights, 1/d;
// 0 where it has lost weight in all, as is the rule.
func (b *bench) usualNight() float64 {
	most := 0.0
	for _, past := range b.Night.Past[nights-int(b.Night.Known):] {
		most = math.Max(most, float64(past))
	}
	return most
}

// morning remembers the night that is over, unless it is under suspicion.
func (b *bench) morning() {
	n := &b.Night
	if n.From != 0 && n.Sick == 0 && !math.IsNaN(n.Rate.PerDay) {
		copy(n.Past[:], n.Past[1:])
		n.Past[nights-1] = float32(n.Rate.PerDay)
		n.Known = min(n.Known+1, nights)
	}
	n.From, n.Rate = 0, track.Rate{PerDay: math.NaN()}
}

func (b *bench) grewInTheDark() {
	n := b.Night
	if n.Sick == 0 {
		return
	}
	what := "Density grew in the dark, as this lot never did"
	if !math.IsNaN(n.Rate.PerDay) {
		what = fmt.Sprintf("Density grows in the dark, %.1f %% an hour, as this lot never did", 100*(math.Exp(n.Rate.PerDay/24)-1))
	}
	b.find(analysis.Contaminated, 0, n.Sick-darkFor.Milliseconds(), analysis.Finding{
		Normal: b.normal(),
		What:   what,
		Cause:  "bacteria or others that need no light, or a film on the probe (od cannot tell)",
		First:  "Smell it and look through the microscope; wipe the probe; start nothing from it.",
		Sure:   0.7,
		Evidence: []analysis.Evidence{
			{Name: "net growth in the dark", Value: n.Rate.PerDay, Normal: 0, Unit: "1/d"}}})
}
