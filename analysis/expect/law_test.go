package expect

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.6g, want %.6g", what, got, want)
	}
}

// Values computed from the published equations: Eppley 1972 and Bissinger and
// others 2008, see Eppley and Ceiling.
func TestEnvelopes(t *testing.T) {
	for _, c := range []struct{ temp, eppley, ceiling float64 }{
		{0, 0.5900, 0.8100}, {10, 1.1113, 1.5224}, {15, 1.5252, 2.0871}, {20, 2.0933, 2.8613}, {25, 2.8729, 3.9227}, {30, 3.9430, 5.3778},
	} {
		near(t, "Eppley", Eppley(c.temp), c.eppley, 1e-4)
		near(t, "Ceiling", Ceiling(c.temp), c.ceiling, 1e-4)
	}
}

// Values computed from the equation of Rosso and others 1993 for the cardinal
// temperatures of Bernard and Remond 2012, Nannochloropsis and Chlorella.
func TestCardinal(t *testing.T) {
	for _, c := range []struct{ temp, nanno, chlorella float64 }{
		{5, 0.053084, 0}, {10, 0.212697, 0.031098}, {15, 0.457661, 0.127002}, {20, 0.745274, 0.281738}, {22, 0.853585, 0.357963},
		{25, 0.975319, 0.484641}, {28, 0.980699, 0.621598}, {30, 0.844104, 0.714902}, {32, 0.475127, 0.805839}, {33, 0.133677, 0.848888},
	} {
		near(t, "Nannochloropsis", Cardinal(c.temp, 0.2, 26.7, 33.3), c.nanno, 1e-6)
		near(t, "Chlorella", Cardinal(c.temp, 5.2, 38.7, 45.8), c.chlorella, 1e-6)
	}
	near(t, "at the best", Cardinal(26.7, 0.2, 26.7, 33.3), 1, 1e-12)
	near(t, "beyond the end", Cardinal(33.3, 0.2, 26.7, 33.3), 0, 0)
}

// Values computed from equation 3 of Bernard and Remond 2012 with a greatest
// growth of 1/d, a slope of 0.02 and a best light of 200.
func TestResponse(t *testing.T) {
	for light, want := range map[float64]float64{0: 0, 10: 0.181406, 50: 0.64, 100: 0.888889, 200: 1, 300: 0.96, 500: 0.816327, 1000: 0.555556} {
		near(t, "response", Response(light, 50, 200), want, 1e-6)
	}
}

// Values computed from Beer and Lambert's law.
func TestMeanLight(t *testing.T) {
	for kl, want := range map[float64]float64{0: 100, 0.02: 99.0066336, 1: 63.2120559, 3: 31.6737644} {
		near(t, "mean light", MeanLight(100, kl/0.25, 0.25), want, 1e-6)
	}
}

// Air at 420 ppm, 25 degC carries 0.0171672 mmol/L, 20 degC 0.01746 (ideal
// gas); the table of 0.05 to 1 volumes a minute is that of 25 degC.
func TestCarbonBrought(t *testing.T) {
	for vvm, want := range map[float64]float64{0.05: 1.236, 0.1: 2.472, 0.2: 4.944, 0.5: 12.36, 1: 24.72} {
		near(t, "carbon", CarbonBrought(vvm)*0.0171672/0.01746, want, 0.001*want)
	}
}

// Dry weight that 12.36 mg N/L carry at three per cent of dry weight.
func TestNitrogenMost(t *testing.T) { near(t, "nitrogen", NitrogenMost, 0.412, 0.0005) }

// Nothing that a law allows grows faster than anything at that temperature,
// and no state of it leaves the world of numbers.
func TestLawStaysInBounds(t *testing.T) {
	v := literature.Mean
	v[pGrowth] = math.Log(50)
	for _, temp := range []float64{-3, 0, 12, 20, 25, 31, 45} {
		for _, vvm := range []float64{math.NaN(), 0, 0.01, 0.3} {
			l := v.law(12)
			c := l.fresh()
			for _, x := range []float64{1e-6, 0.01, 0.3, 4} {
				for range 50 {
					rate, s := l.grow(&c, Hour{Par: 200, TempC: temp, Vvm: vvm}, x)
					for _, share := range []float64{s.light, s.warm, s.lag, s.nitrogen, s.carbon} {
						if !(share >= 0 && share <= 1+1e-9) {
							t.Fatalf("a share of %v at %v degC, %v vvm, %v od", share, temp, vvm, x)
						}
					}
					if !(rate <= Ceiling(math.Max(temp, 0))) || math.IsInf(rate, 0) {
						t.Fatalf("rate %v at %v degC", rate, temp)
					}
				}
			}
		}
	}
}
