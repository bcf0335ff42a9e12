package track

import (
	"math"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

const (
	stageEmpty int8 = iota
	stageStanding
	stageLag
	stageExponential
	stageDeclining
	stageStationary
	stageDeath
)

var phases = [...]analysis.Phase{analysis.Empty, analysis.Standing, analysis.Lag, analysis.Exponential,
	analysis.Declining, analysis.Stationary, analysis.Death}

const (
	// lagMost is how long a lag may last (two days, common practice).
	lagMost = 48 * 60 * 60 * 1000 // ms
	// growing is the net growth, 1/d, below which a lot does not count as
	// growing: a third of the pace that makes ten out of one in a week
	// (ln 10 / 7 d = 0.33 per day; about a week is common practice).
	growing = 0.11
	// fullPace is the share of a lot's greatest pace that is still its full one.
	fullPace = 0.75
)

func (s *State) renewStage() {
	stage := s.stage()
	if stage != s.Stage {
		s.Stage, s.StageSince = stage, s.At
	}
}

func (s *State) stage() int8 {
	g := s.Day.PerDay
	switch {
	case math.IsNaN(g) && s.At-s.Since < lagMost:
		return stageLag
	case math.IsNaN(g):
		return s.Stage
	case g < growing && s.At-s.Since < lagMost && !(s.Pace > 2*growing):
		return stageLag
	case g < -growing && g+2*s.Day.Error < 0:
		return stageDeath
	case g < growing:
		return stageStationary
	case g >= fullPace*s.Pace:
		return stageExponential
	}
	return stageDeclining
}

// sure is the probability of the present phase: that the growth over a day
// lies where the phase has it, for a normal error. The pace it is held against
// is taken as known.
func (s *State) sure() float64 {
	g, e := s.Day.PerDay, s.Day.Error
	if math.IsNaN(g) || !(e > 0) {
		return math.NaN()
	}
	below := func(x float64) float64 { return 0.5 * math.Erfc((g-x)/(e*math.Sqrt2)) }
	full := max(fullPace*s.Pace, growing)
	switch s.Stage {
	case stageLag:
		return below(growing)
	case stageExponential:
		return 1 - below(full)
	case stageDeclining:
		return below(full) - below(growing)
	case stageStationary:
		return below(growing) - below(-growing)
	case stageDeath:
		return below(-growing)
	}
	return math.NaN()
}

// z90 is the 95th percentile of the standard normal: the half width of a 90 %
// interval in standard errors.
const z90 = 1.6448536269514722

func interval(likely, sigma float64) analysis.Interval {
	return analysis.Interval{Low: likely - z90*sigma, Likely: likely, High: likely + z90*sigma}
}

// Estimate returns what is believed now.
func (s *State) Estimate() analysis.Estimate {
	nan := math.NaN()
	unknown := analysis.Interval{Low: nan, Likely: nan, High: nan}
	e := analysis.Estimate{
		At: at(s.At), Lot: s.Lot, Strain: s.Strain, Medium: s.Medium, Since: at(s.Since), Ended: at(s.Ended),
		Density: unknown, Cells: unknown, Growth: unknown, Recent: unknown, InLight: unknown, InDark: unknown, Doubling: nan,
		Blank: interval(s.Blank, s.BlankNoise), BlankLearnt: s.BlankBins > 0,
		Phase: phases[s.Stage], PhaseSince: at(s.StageSince), PhaseSure: s.sure(),
	}
	e.SecondSince, e.Apart, e.PHSwing, e.PHHighest = at(s.Second.At), nan, nan, s.Acidity.Highest()
	if s.Second.Known() && s.Second.Apart != 0 {
		e.Apart = math.Expm1(float64(s.Second.Apart))
	}
	if s.Acidity.SwingLast != 0 {
		e.PHSwing = float64(s.Acidity.SwingLast)
	}
	if s.Ended != 0 {
		e.Ended, e.Phase, e.PhaseSince = at(s.Ended), analysis.Over, at(s.Ended)
	}
	if s.Lot == "" && s.Standing != 0 {
		e.Phase, e.PhaseSince = analysis.Standing, at(s.Standing)
	}
	if od := s.Smooth(); !math.IsNaN(od) {
		b, _ := s.Bin(s.Latest)
		steep, d := s.steep(od), s.density(od)
		sigma := math.Hypot(float64(b.Noise), s.BlankNoise) * steep * steep
		e.Density = interval(d, math.Hypot(sigma, s.BendError*d*d))
	}
	if log, sigma, ok := s.CellsPerOD(); ok && e.Density.Likely > 0 {
		wide := math.Hypot(sigma, (e.Density.High-e.Density.Likely)/z90/e.Density.Likely)
		e.Cells = logInterval(log+math.Log(e.Density.Likely), wide)
	}
	if s.ByHand() {
		s.estimateByHand(&e)
	}
	if !math.IsNaN(s.Day.PerDay) {
		e.Growth = interval(s.Day.PerDay, s.Day.Error)
		if s.Day.PerDay > 0 {
			e.Doubling = math.Ln2 / s.Day.PerDay
		}
	}
	if light, night := s.apart(); !math.IsNaN(light.PerDay) {
		e.InLight, e.InDark = interval(light.PerDay, light.Error), interval(night.PerDay, night.Error)
	}
	if !math.IsNaN(s.Hours.PerDay) {
		e.Recent = interval(s.Hours.PerDay, s.Hours.Error)
	}
	return e
}

// estimateByHand puts the newest counts in the place of what a probe would say.
func (s *State) estimateByHand(e *analysis.Estimate) {
	e.ByHand = true
	for _, held := range s.Hands {
		h := held.hand()
		if !s.ofLot(h) {
			continue
		}
		e.HandAt = at(h.At)
		now := h.Log - (s.undrawn(s.At) - s.undrawn(h.At)) // what was refilled since has thinned it
		if h.Cells {
			e.Cells = logInterval(now, h.Sigma)
		} else {
			e.Density = logInterval(now, h.Sigma)
		}
	}
}

// logInterval is the interval of what has a log-normal error.
func logInterval(log, sigma float64) analysis.Interval {
	return analysis.Interval{Low: math.Exp(log - z90*sigma), Likely: math.Exp(log), High: math.Exp(log + z90*sigma)}
}

// Smooth returns the newest od without spikes: the median of the newest bin,
// or of the newest readings where no bin is closed yet; NaN without any.
func (s *State) Smooth() float64 {
	if b, ok := s.Bin(s.Latest); ok {
		return float64(b.OD)
	}
	return s.Newest[unit.OD].Median()
}
