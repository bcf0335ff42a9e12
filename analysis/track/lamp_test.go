package track

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// shine feeds light and density: 16 h of light from 00:00 of start's own day
// on, with these rates.
func shine(s *State, days, day, night float64, noise func() float64) {
	log := 0.0
	for m := 0; m < int(days*24*60); m += 2 {
		at := start.Add(time.Duration(m) * time.Minute)
		par, rate := 0.2, night
		if m%(24*60) < 16*60 {
			par, rate = 90, day
		}
		log += rate * 2 / (24 * 60)
		s.Take(ingest.Reading{Quantity: unit.Light, At: at, Value: par})
		s.Take(ingest.Reading{Quantity: unit.OD, At: at, Value: 0.1*math.Exp(log) + noise()})
	}
}

func TestLightAndDarkApart(t *testing.T) {
	const day, night = 0.6, -0.15
	for hours := 48; hours < 72; hours += 3 {
		s := New()
		s.Note(inoculate(start))
		shine(&s, float64(hours)/24, day, night, func() float64 { return 0 })
		e := s.Estimate()
		near(t, "net growth in the light", e.InLight.Likely, day, 0.02)
		near(t, "net growth in the dark", e.InDark.Likely, night, 0.02)
	}
}

// Slow noise of three hours' memory and 0.6 per cent: the 90 % intervals hold
// the truth about nine times in ten.
func TestLightAndDarkIntervals(t *testing.T) {
	const day, night = 0.5, -0.1
	r := rand.New(rand.NewPCG(8, 1))
	inside, n := [2]int{}, 200
	for range n {
		s := New()
		s.Note(inoculate(start))
		slow := 0.0
		keep := math.Exp(-2.0 / 180)
		shine(&s, 2.5, day, night, func() float64 {
			slow = keep*slow + math.Sqrt(1-keep*keep)*r.NormFloat64()
			return 0.0015*slow + 0.002*r.NormFloat64()
		})
		e := s.Estimate()
		for k, c := range []struct {
			i    analysis.Interval
			want float64
		}{{e.InLight, day}, {e.InDark, night}} {
			if c.i.Low <= c.want && c.want <= c.i.High {
				inside[k]++
			}
		}
	}
	for k, name := range []string{"light", "dark"} {
		if share := float64(inside[k]) / float64(n); share < 0.82 || share > 0.995 {
			t.Errorf("%s: %.3f of the intervals hold the truth", name, share)
		}
	}
}

func TestWithoutLampNothingIsToldApart(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	grow(&s, start, 3, func(d float64) float64 { return 0.1 * math.Exp(0.3*d) })
	if e := s.Estimate(); e.InLight.Known() || e.InDark.Known() {
		t.Errorf("light %v and dark %v told apart without a light sensor", e.InLight, e.InDark)
	}
}

func TestPhaseHasItsProbabilityAndTime(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	r := rand.New(rand.NewPCG(1, 8))
	grow(&s, start, 3, func(d float64) float64 { return 0.1*math.Exp(0.4*min(d, 2)) + 0.001*r.NormFloat64() })
	e := s.Estimate()
	if e.Phase != analysis.Stationary || !(e.PhaseSure > 0.9 && e.PhaseSure <= 1) {
		t.Errorf("%s with probability %.3f, want stationary, above 0.9", e.Phase, e.PhaseSure)
	}
	if in := e.InPhase(); in <= 0 || in > 12*time.Hour {
		t.Errorf("in it for %v, want some hours", in)
	}
	s.Day = Rate{PerDay: growing, Error: 0.02} // between two of them
	if p := s.Estimate().PhaseSure; math.Abs(p-0.5) > 0.01 {
		t.Errorf("on the border of two phases the probability is %.3f, want a half", p)
	}
}

// A thin inoculum that is written down six hours later, or never, must not
// stay in the blank.
func TestThinInoculumIsNoBlank(t *testing.T) {
	const blank, thin = 0.010, 0.012
	for _, late := range []time.Duration{0, time.Hour, 6 * time.Hour, 20 * time.Hour} {
		r := rand.New(rand.NewPCG(3, 3))
		s := New()
		at := grow(&s, start, 0.5, func(float64) float64 { return blank + 0.001*r.NormFloat64() })
		course := func(d float64) float64 { return blank + thin*math.Exp(0.5*(d-0.5)) + 0.001*r.NormFloat64() }
		grow(&s, at, late.Hours()/24, course)
		s.Note(inoculate(at))
		near(t, "blank after "+late.String(), s.Blank, blank, 0.0007)
	}
	r := rand.New(rand.NewPCG(3, 4))
	s := New()
	at := grow(&s, start, 1, func(float64) float64 { return blank + 0.001*r.NormFloat64() })
	grow(&s, at, 3, func(d float64) float64 { return blank + thin*math.Exp(0.5*(d-1)) + 0.001*r.NormFloat64() })
	if s.Lot != Unnamed {
		t.Fatalf("lot %q, want one that is presumed", s.Lot)
	}
	near(t, "blank when nobody wrote it down", s.Blank, blank, 0.002)
}
