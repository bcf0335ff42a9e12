package growth

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// Worked from the definitions of Guillard 1973 and of Wood, Everroad and
// Wingard 2005, exact to the digits shown. The first is OECD 201's 16-fold in
// 72 h (the factor from memory).
func TestRates(t *testing.T) {
	for _, c := range []struct{ n1, n2, days, mu, k, td float64 }{
		{1e4, 1.6e5, 3, 0.924196, 1.333333, 0.750000},
		{1e5, 1e6, 4, 0.575646, 0.830482, 1.204120},
		{2e5, 3.2e6, 5, 0.554518, 0.800000, 1.250000},
		{0.05, 0.40, 2.5, 0.831777, 1.200000, 0.833333},
		{1e5, 8e5, 3, 0.693147, 1.000000, 1.000000},
	} {
		r, err := Between(c.n1, c.n2, c.days, 0.05, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		k, kse := r.Doublings()
		td, tdse := r.DoublingTime()
		for _, v := range [][2]float64{{r.PerDay, c.mu}, {k, c.k}, {td, c.td}} {
			if math.Abs(v[0]-v[1]) > 6e-7 {
				t.Errorf("%g to %g in %g d: %g, want %g", c.n1, c.n2, c.days, v[0], v[1])
			}
		}
		// One relative error serves all three.
		if rel := r.Error / r.PerDay; math.Abs(kse/k-rel) > 1e-12 || math.Abs(tdse/td-rel) > 1e-12 {
			t.Errorf("relative errors %g, %g and %g differ", rel, kse/k, tdse/td)
		}
	}
	// 5 % each over three days, by propagation of error.
	if r, _ := Between(1, 2, 3, 0.05, 0.05); math.Abs(r.Error-0.02357) > 5e-6 {
		t.Errorf("error %g, want 0.02357", r.Error)
	}
	if k, _ := (Rate{PerDay: 1}).Doublings(); math.Abs(k-1.442695) > 5e-7 {
		t.Errorf("1/d is %g doublings, want 1.442695", k)
	}
}

// Mass balance of a semi-continuous culture.
func TestNeeded(t *testing.T) {
	for _, c := range []struct{ f, days, want float64 }{
		{0.25, 1, 0.287682}, {0.30, 1, 0.356675}, {0.50, 2, 0.346574}, {0.25, 7. / 3, 0.123292}, {0.50, 7. / 3, 0.297063},
	} {
		if got := Needed(c.f, c.days); math.Abs(got-c.want) > 6e-7 {
			t.Errorf("%g every %g d needs %g, want %g", c.f, c.days, got, c.want)
		}
	}
	if !math.IsNaN(Needed(1, 1)) || !math.IsNaN(Needed(0.5, 0)) {
		t.Error("a harvest of all, or at no interval, was given a rate")
	}
}

func TestNoRate(t *testing.T) {
	for _, c := range []struct {
		n1, n2, days, cv float64
		want             string
	}{
		{0, 1, 1, 0, "densities 0 and 1"}, {1, -2, 1, 0, "densities 1 and -2"}, {math.NaN(), 1, 1, 0, "densities NaN and 1"},
		{1, 2, 0, 0, "over 0 days"}, {1, 2, math.NaN(), 0, "over NaN days"}, {1, 2, 1, -1, "errors -1 and -1"},
	} {
		r, err := Between(c.n1, c.n2, c.days, c.cv, c.cv)
		if err == nil || !strings.Contains(err.Error(), c.want) || !math.IsNaN(r.PerDay) {
			t.Errorf("%v: %v, %v", c, r, err)
		}
	}
	if d, _ := (Rate{PerDay: -0.1}).DoublingTime(); !math.IsNaN(d) {
		t.Errorf("a dying culture doubles in %g d", d)
	}
}

// Theil and Sen: the toy and the Nile by scipy 1.10.1's theilslopes.
func TestTheilSen(t *testing.T) {
	toy := []float64{2.1, 3.9, 6.2, 7.8, 10.1, 30.0, 13.9, 16.2, 17.8, 20.1}
	var x, year, volume []float64
	for i := range toy {
		x = append(x, float64(i+1))
	}
	for _, row := range readCSV(t, filepath.Join(rFolder, "nile.csv")) {
		year, volume = append(year, parse(t, row["year"])), append(volume, parse(t, row["volume"]))
	}
	for _, c := range []struct {
		x, y []float64
		want Slopes
	}{
		{x, toy, Slopes{Slope: 2, Intercept: 1, Low: 1.933333, High: 2.066667}},
		{year, volume, Slopes{Slope: -2.6, Intercept: 5886.8, Low: -3.627907, High: -1.428571}},
	} {
		s, err := TheilSen(c.x, c.y, 0.95)
		if err != nil || math.Abs(s.Slope-c.want.Slope) > 1e-9 || math.Abs(s.Intercept-c.want.Intercept) > 1e-6 ||
			math.Abs(s.Low-c.want.Low) > 1e-6 || math.Abs(s.High-c.want.High) > 1e-6 {
			t.Errorf("%+v, %v, want %+v", s, err, c.want)
		}
	}
}

func TestNoLine(t *testing.T) {
	for want, c := range map[string][3][]float64{
		"2 points are too few":     {{1, 2}, {1, 2}},
		"at one time, 4":           {{4, 4, 4}, {1, 2, 3}},
		"do not pair up":           {{1, 2, 3}, {1, 2}},
		"point 2 (2, NaN)":         {{1, 2, 3}, {1, math.NaN(), 3}},
		"error 3 is 0":             {{1, 2, 3}, {1, 2, 3}, {1, 1, 0}},
		"2 values and 3 errors do": {{1, 2}, {1, 2}, {1, 1, 1}},
	} {
		if _, err := LogLinear(c[0], c[1], c[2]); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, got %v", want, err)
		}
	}
}
