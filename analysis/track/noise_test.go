package track

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// drifting is a slow noise of standard deviation 1 and this memory, every
// minutes minutes (Ornstein and Uhlenbeck).
func drifting(r *rand.Rand, memory time.Duration, minutes float64) func() float64 {
	v, keep := r.NormFloat64(), math.Exp(-minutes/memory.Minutes())
	return func() float64 {
		v = keep*v + math.Sqrt(1-keep*keep)*r.NormFloat64()
		return v
	}
}

// Whatever the size and the memory of the slow noise, and however seldom the
// probe is read, nine intervals in ten or so hold the truth.
func TestGrowthIntervalsHold(t *testing.T) {
	const mu = 0.35
	for name, c := range map[string]struct {
		slow, white float64 // as a share, as od
		memory      time.Duration
		minutes     int
		least       float64 // share of intervals that hold
	}{
		"usual": {0.006, 0.002, 4 * time.Hour, 2, 0.77},
		"quiet": {0.002, 0.001, 4 * time.Hour, 2, 0.77},
		"loud":  {0.02, 0.004, 4 * time.Hour, 2, 0.77},
		"hasty": {0.01, 0.002, 30 * time.Minute, 2, 0.77},
		// What lasts a third of the day it is read from looks like growth.
		"lasting":  {0.006, 0.002, 8 * time.Hour, 2, 0.70},
		"seldom":   {0.006, 0.002, 4 * time.Hour, 10, 0.77},
		"no white": {0.006, 0, 4 * time.Hour, 5, 0.77},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			inside, n := 0, 150
			for seed := range n {
				r := rand.New(rand.NewPCG(uint64(seed), 77))
				drift := drifting(r, c.memory, float64(c.minutes))
				s := New()
				s.Note(inoculate(start))
				s.Blank, s.BlankNoise, s.BlankBins = 0, 0.001, 72
				for m := 0; m < 3*24*60; m += c.minutes {
					od := 0.12 * math.Exp(mu*float64(m)/(24*60)+c.slow*drift())
					s.Take(ingest.Reading{Quantity: unit.OD, At: start.Add(time.Duration(m) * time.Minute), Value: od + c.white*r.NormFloat64()})
				}
				if g := s.Estimate().Growth; g.Low <= mu && mu <= g.High {
					inside++
				}
			}
			t.Logf("%d of %d", inside, n)
			if share := float64(inside) / float64(n); share < c.least || share > 0.999 {
				t.Errorf("%.3f of the intervals hold the truth, want about 0.9", share)
			}
		})
	}
}

// The share of a correlated noise that is left beside a line, by simulation.
func TestKeptOf(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for _, hours := range []float64{0.5, 4, 16} {
		want := keptOf(dayHours, hours)
		var square, lag float64
		const n = 20000
		for range n {
			drift := drifting(r, time.Duration(hours*float64(time.Hour)), 60)
			var x, y [dayHours]float64
			for i := range x {
				x[i], y[i] = float64(i), drift()
			}
			slope, mean, mid := line(x[:], y[:])
			for i := range y {
				y[i] -= mean + slope*(x[i]-mid)
				square += y[i] * y[i] / dayHours / n
				if i > 0 {
					lag += y[i] * y[i-1] / (dayHours - 1) / n
				}
			}
		}
		near(t, "mean square", square, want.square, 0.02)
		near(t, "mean product of neighbours", lag, want.lag, 0.02)
	}
}

// A thin culture with a blank that nobody knows is told widely, a dense one
// narrowly.
func TestBlankWeighsWhereThin(t *testing.T) {
	width := func(od float64) float64 {
		s := New()
		s.Note(inoculate(start))
		grow(&s, start, 2.5, func(d float64) float64 { return od * math.Exp(0.4*d) })
		g := s.Estimate().Growth
		return g.High - g.Low
	}
	if thin, dense := width(0.05), width(0.5); !(thin > 4*dense) {
		t.Errorf("width %.4f at an od of 0.05 and %.4f at 0.5", thin, dense)
	}
}

// A step that was taken out leaves its own error in the growth over it, for a
// day.
func TestStepLeavesItsError(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 3, func(d float64) float64 { return 0.2*math.Exp(0.3*d) + 0.003*r.NormFloat64() })
	before := s.Day.Error
	at = grow(&s, at, 0.25, func(d float64) float64 { return 0.1*math.Exp(0.3*d) + 0.003*r.NormFloat64() })
	if s.LastHit.Ratio == 0 || s.stepVariance() == 0 || !(s.Day.Error > before) {
		t.Errorf("step %+v: error %.4f before it, %.4f after", s.LastHit, before, s.Day.Error)
	}
	grow(&s, at, 1.1, func(d float64) float64 { return 0.1*math.Exp(0.3*d) + 0.003*r.NormFloat64() })
	if s.stepVariance() != 0 {
		t.Error("the step of yesterday still weighs on the growth of today")
	}
}

// OECD Test Guideline 201 (2006): controls rise sixteenfold in 72 h, which is
// ln 16 / 3 = 0.924 a day.
func TestSixteenfoldInThreeDays(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	grow(&s, start, 3, func(d float64) float64 { return 0.05 * math.Pow(16, d/3) })
	near(t, "net growth", s.Day.PerDay, 0.924196, 0.001)
}

// Ten points with one far off, by scipy.stats.theilslopes 1.10.1: slope 2.0.
func TestTheilSenOutside(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}
	y := []float64{2.1, 3.9, 6.2, 7.8, 10.1, 30.0, 13.9, 16.2, 17.8, 20.1}
	near(t, "slope", theilSen(x, y, nil).PerDay, 2, 1e-9)
}
