package judge

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// nightly plays a lot under a lamp from six to six, which gains and loses so
// much a day in light and dark, per day and from the given day on otherwise.
type nightly struct {
	light, dark float64 // 1/d
	from        float64 // day from which something else grows
	extra       float64 // at this pace, 1/d, beginning with a hundredth of the density
	drift       float64 // od a day that a film adds

}

func (n nightly) play(t *testing.T, days int) (s *stage, found time.Time) {
	t.Helper()
	s = newStage(t)
	r := rand.New(rand.NewPCG(3, 14))
	lamp := lampOf(ingest.Square, 100)
	log := math.Log(0.1)
	other := 0.0
	for end := s.now.Add(time.Duration(days) * 24 * time.Hour); s.now.Before(end); {
		age := s.now.Sub(dawn).Hours() / 24
		if s.now.Minute()%2 == 0 {
			pace := n.dark
			if lamp(s.now) > 50 {
				pace = n.light
			}
			log += pace * 2 / (24 * 60)
			if n.extra > 0 && age >= n.from {
				if other == 0 {
					other = 0.01 * math.Exp(log)
				}
				other *= math.Exp(n.extra * 2 / (24 * 60))
			}
			od := math.Exp(log) + other + n.drift*math.Max(age-n.from, 0) + 0.0015*r.NormFloat64()
			for q, v := range map[ingest.Quantity]float64{unit.OD: od, unit.Light: lamp(s.now), unit.Airflow: 4 + 0.02*r.NormFloat64(), unit.Temperature: 20 + 0.05*r.NormFloat64()} {
				s.track.Take(ingest.Reading{Quantity: q, Value: v, At: s.now})
			}
		}
		s.now = s.now.Add(time.Minute)
		s.found = s.judge.Step(Case{Vessel: &s.vessel, Track: &s.track, Now: s.now})
		if found.IsZero() && s.has(analysis.Contaminated, 0) {
			found = s.now
		}
	}
	return s, found
}

func TestGrowthInTheDark(t *testing.T) {
	for name, c := range map[string]struct {
		n    nightly
		want bool
	}{
		"loses by night":                     {nightly{light: 0.9, dark: -0.15}, false},
		"stands still by night":              {nightly{light: 0.7, dark: 0}, false},
		"has always grown a little by night": {nightly{light: 0.6, dark: 0.1}, false},
		"a film on the window":               {nightly{light: 0.8, dark: -0.1, drift: 0.004}, false},
		"bacteria from the third day on":     {nightly{light: 0.8, dark: -0.1, from: 3.2, extra: 3.5}, true},
		"a film that nobody could miss":      {nightly{light: 0.8, dark: -0.1, drift: 0.2, from: 3}, false}, // sensor
	} {
		s, found := c.n.play(t, 5)
		if got := !found.IsZero(); got != c.want {
			t.Errorf("%s: found %t at %v, want %t; nights %v", name, got, found, c.want, s.judge.Night)
		}
		if c.want && found.Sub(dawn) < 3*24*time.Hour {
			t.Errorf("%s: found on day %.1f, before it was there", name, found.Sub(dawn).Hours()/24)
		}
		for _, f := range s.found {
			if f.Class == analysis.Contaminated && !strings.Contains(f.First, "microscope") {
				t.Errorf("%s: %q asks for no microscope", name, f.First)
			}
		}
	}
}
