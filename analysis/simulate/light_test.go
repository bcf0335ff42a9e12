package simulate

import (
	"math"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.6f, want %.6f", what, got, want)
	}
}

// Values computed from Bernard & Remond 2012, equation 3, with muMax = 1,
// alpha = 0.02 and iOpt = 200.
func TestLightResponse(t *testing.T) {
	for i, want := range map[float64]float64{10: 0.181406, 50: 0.640000, 100: 0.888889, 200: 1, 300: 0.960000, 500: 0.816327, 1000: 0.555556} {
		near(t, "response", lightResponse(i, 1, 0.02, 200), want, 1e-6)
	}
	if lightResponse(0, 1, 0.02, 200) != 0 {
		t.Error("growth in the dark")
	}
}

// Values computed from the law of Beer and Lambert with i0 = 100.
func TestMeanLight(t *testing.T) {
	near(t, "kl = 1", meanLight(100, 4, 0.25), 63.2120559, 1e-6)
	near(t, "kl = 3", meanLight(100, 10, 0.3), 31.6737644, 1e-6)
	near(t, "kl = 0.02", meanLight(100, 0.1, 0.2), 99.0066336, 1e-6)
	near(t, "no shade", meanLight(100, 0, 0.2), 100, 0)
}

// Values computed from the equation of Rosso, Lobry & Flandrois 1993, from
// memory, with the cardinal temperatures of Bernard & Remond 2012.
func TestCTMI(t *testing.T) {
	for temp, want := range map[float64]float64{5: 0.053084, 10: 0.212697, 15: 0.457661, 20: 0.745274, 25: 0.975319, 28: 0.980699, 30: 0.844104, 33: 0.133677} {
		near(t, "Nannochloropsis", ctmi(temp, 0.2, 26.7, 33.3), want, 1e-6)
	}
	for temp, want := range map[float64]float64{5: 0, 10: 0.031098, 20: 0.281738, 30: 0.714902, 33: 0.848888} {
		near(t, "Chlorella", ctmi(temp, 5.2, 38.7, 45.8), want, 1e-6)
	}
	near(t, "best", ctmi(26.7, 0.2, 26.7, 33.3), 1, 1e-12)
	near(t, "too hot", ctmi(33.3, 0.2, 26.7, 33.3), 0, 0)
}

// Kooi et al. 2017: 0.1 1/d at 20 degC, Q10 = 2.
func TestRespiration(t *testing.T) {
	near(t, "20 degC", respiration(20), 0.1, 1e-12)
	near(t, "30 degC", respiration(30), 0.2, 1e-12)
}

// Bissinger et al. 2008, Limnol. Oceanogr. 53:487-493: no phytoplankton grows
// faster than 0.81 exp(0.0631 T) 1/d.
func bissinger(temp float64) float64 { return 0.81 * math.Exp(0.0631*temp) }

func TestNoStrainIsTooFast(t *testing.T) {
	const fastLot = 1 + 3*paceCV
	for _, s := range append(Strains(), otherStrain) {
		if s.TOpt <= (s.TMin+s.TMax)/2 {
			t.Errorf("%s: the temperature model does not bear its cardinal temperatures", s.Name)
		}
		for temp := 0.0; temp < 40; temp += 0.5 {
			if mu := fastLot * s.MuMax * ctmi(temp, s.TMin, s.TOpt, s.TMax); mu > bissinger(temp) {
				t.Errorf("%s grows at %.2f 1/d at %.1f degC; nothing grows faster than %.2f", s.Name, mu, temp, bissinger(temp))
			}
		}
	}
}

func TestLampFollowsTheClockOnTheWall(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	v := ingest.Vessel{Zone: berlin, LightsOn: 6 * time.Hour, LightHours: 20 * time.Hour, LightShape: ingest.Square} // to 02:00
	// The clocks of Berlin went from 02:00 to 03:00 at 01:00 UTC on 29 March 2026.
	for clock, want := range map[string]float64{
		"2026-03-28T04:59:00Z": 0, "2026-03-28T05:00:00Z": 1, "2026-03-29T00:59:00Z": 1, "2026-03-29T01:00:00Z": 0,
		"2026-03-29T03:59:00Z": 0, "2026-03-29T04:00:00Z": 1, "2026-03-29T23:59:00Z": 1, "2026-03-30T00:00:00Z": 0,
	} {
		at, err := time.Parse(time.RFC3339, clock)
		if err != nil {
			t.Fatal(err)
		}
		if got := lit(&v, at); got != want {
			t.Errorf("at %s the lamp burns %v, want %v", clock, got, want)
		}
	}
}

func TestSineLampRisesAndFalls(t *testing.T) {
	v := ingest.Vessel{LightsOn: 6 * time.Hour, LightHours: 12 * time.Hour, LightShape: ingest.Sine}
	at := func(hour int) float64 { return lit(&v, time.Date(2026, 1, 1, hour, 0, 0, 0, time.UTC)) }
	near(t, "noon", at(12), 1, 1e-12)
	near(t, "two hours in", at(8), 0.5, 1e-12)
	near(t, "night", at(18)+at(5), 0, 0)
	v.LightsOn = -1
	near(t, "hours unknown", at(3), 1, 0)
}
