package track

import (
	"math"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Second is what a second wavelength says beside the od: how the two go
// together in this lot, so that one may stand in for the other, and tell on it.
type Second struct {
	Blank float32 // od2 of the medium alone
	Ratio float32 // slow mean of the logarithm of the two densities' ratio, od2 over od
	// Apart is by how much the newest ratio lies above that; 0 unknown.
	Apart float32
	// Medium and Together are the bins of standing medium, and of this lot, that
	// these were learnt from, dayBins at most.
	Medium, Together uint8
	At               int64 // Unix ms since when density is taken from it, 0: od is heard
}

const (
	// dayBins is for how many bins a ratio is remembered: a day, in which pigment
	// follows the lamp up and down.
	dayBins = 144
	// ratioFrom is from how many bins a ratio stands: six hours.
	ratioFrom = 36
	// ratioFar is how far apart, in the logarithm, the two must be for what they
	// show to teach a quarter as fast: a tenth, more than a day of pigment.
	ratioFar = 0.1
	// ratioNoise is the error of a density that od2 stands in for, as a share:
	// what pigment varies by in hours (from memory).
	ratioNoise = 0.03
	// ratioSigma is how many standard errors both must stand out of their noise.
	ratioSigma = 5
)

// Known reports whether the two wavelengths have gone together for long enough.
func (c *Second) Known() bool { return c.Together >= ratioFrom }

// beside learns from a bin of od and what the second wavelength says now.
func (s *State) beside(b Bin) {
	c := &s.Second
	c.At = 0
	n := &s.Newest[unit.OD2]
	if n.At == 0 || s.At-n.At > 2*BinLength.Milliseconds() {
		c.Apart = 0
		return
	}
	od2 := n.Median()
	if s.Lot == "" {
		if b.OD <= StandingMost && od2 <= StandingMost {
			c.Medium = min(c.Medium+1, dayBins)
			c.Blank += (float32(od2) - c.Blank) / float32(c.Medium)
		}
		return
	}
	d, d2 := float64(b.OD)-s.Blank, od2-float64(c.Blank)
	if noise := math.Hypot(float64(b.Noise), s.BlankNoise/3); d < ratioSigma*noise || d2 < ratioSigma*noise {
		c.Apart = 0
		return
	}
	log := float32(math.Log(d2 / d))
	weight := float32(1)
	if c.Known() {
		if c.Apart = log - c.Ratio; math.Abs(float64(c.Apart)) > ratioFar {
			weight = 0.25
		}
	}
	c.Together = min(c.Together+1, dayBins)
	c.Ratio += weight * (log - c.Ratio) / float32(c.Together)
}

// standIn makes a bin of the second wavelength where none came of the od.
func (s *State) standIn(ms int64) {
	c, n := &s.Second, &s.Newest[unit.OD2]
	index := binIndex(ms) - 1
	if !c.Known() || s.Lot == "" || index <= s.Latest || n.At == 0 || ms-n.At > 2*BinLength.Milliseconds() || ms-s.Newest[unit.OD].At <= staleAfter {
		return
	}
	d2 := n.Median() - float64(c.Blank)
	if !(d2 > ratioSigma*s.BlankNoise/3) {
		return
	}
	if c.At == 0 {
		c.At = ms
	}
	d := d2 * math.Exp(-float64(c.Ratio))
	b := Bin{Index: index, Count: 1, OD: float32(s.Blank + d), Noise: float32(ratioNoise * d), Lamp: s.lamp()}
	s.put(b)
	s.closed(b)
}

// apart forgets how the two go together: another lot, or another window.
func (c *Second) apart() { c.Ratio, c.Apart, c.Together, c.At = 0, 0, 0, 0 }

// Acidity is what pH tells over days: photosynthesis takes carbon and lets it
// rise in the light, respiration lets it fall in the dark.
type Acidity struct {
	Day        int32 // of Low and High, since 1970; 0: none yet
	Low, High  float32
	SwingLast  float32 // of the day before, High less Low; 0 unknown
	HighLast   float32 // of the day before; 0 unknown
	FirstHours int8    // hour of the day at which it began, so that a part of a day is no whole one
}

// dayMs is a day.
const dayMs = 24 * 60 * 60 * 1000

// take takes in a median pH.
func (a *Acidity) take(ms int64, ph float64) {
	if !(ph > 3 && ph < 12) { // no culture of algae, but a probe out of its place
		return
	}
	if day := int32(ms / dayMs); a.Day != day {
		whole := a.Day == day-1 && a.FirstHours == 0
		a.SwingLast, a.HighLast = 0, 0
		if whole {
			a.SwingLast, a.HighLast = a.High-a.Low, a.High
		}
		first := int8(0)
		if a.Day != day-1 {
			first = int8(ms % dayMs / (60 * 60 * 1000))
		}
		*a = Acidity{Day: day, Low: float32(ph), High: float32(ph), SwingLast: a.SwingLast, HighLast: a.HighLast, FirstHours: first}
	}
	a.Low, a.High = min(a.Low, float32(ph)), max(a.High, float32(ph))
}

// OutOfCarbon is the pH at which hardly any carbon is left that cells can use:
// seawater's bicarbonate is mostly carbonate from there on, and most algae stop
// at 9.5 to 10 (from memory).
const OutOfCarbon = 9.5

// Highest is the highest pH of the present day and the one before; NaN unknown.
func (a *Acidity) Highest() float64 {
	if a.Day == 0 {
		return math.NaN()
	}
	return float64(max(a.High, a.HighLast))
}
