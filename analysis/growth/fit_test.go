package growth

import (
	"math"
	"strings"
	"testing"
)

// line is f = p0 + p1 t, twin is f = (p0 + p1) t: its parameters are one.
type line []float64

func (l line) Evaluate(p, f, jac []float64) {
	for i, t := range l {
		f[i] = p[0] + p[1]*t
		jac[2*i], jac[2*i+1] = 1, t
	}
}

type twin []float64

func (l twin) Evaluate(p, f, jac []float64) {
	for i, t := range l {
		f[i] = (p[0] + p[1]) * t
		jac[2*i], jac[2*i+1] = t, t
	}
}

// nowhere has no value anywhere.
type nowhere struct{}

func (nowhere) Evaluate(_, f, jac []float64) {
	for i := range f {
		f[i] = math.NaN()
	}
	clear(jac)
}

func TestFitStatus(t *testing.T) {
	x, y := line{1, 2, 3, 4}, []float64{1.1, 1.9, 3.2, 3.9}
	nan := math.NaN()
	for _, c := range []struct {
		name   string
		p      Problem
		start  []float64
		o      Options
		status Status
		why    string
	}{
		{"fine", Problem{Function: x, Y: y}, []float64{0, 0}, Options{}, Converged, ""},
		{"one", Problem{Function: x[:1], Y: y[:1]}, []float64{0, 0}, Options{}, Failed, "1 points are too few for 2 parameters"},
		{"as many", Problem{Function: x[:2], Y: y[:2]}, []float64{0, 0}, Options{}, IllDetermined, "as many parameters as points"},
		{"twin", Problem{Function: twin(x), Y: y}, []float64{0, 0}, Options{}, IllDetermined, "only together"},
		{"nowhere", Problem{Function: nowhere{}, Y: y}, []float64{0}, Options{}, Failed, "no value at the start"},
		{"start", Problem{Function: x, Y: y}, []float64{0, nan}, Options{}, Failed, "start of parameter 2 is NaN"},
		{"value", Problem{Function: x, Y: []float64{1, nan, 3, 4}}, []float64{0, 0}, Options{}, Failed, "value 2 is NaN"},
		{"error", Problem{Function: x, Y: y, Sigma: []float64{1, 1, 0, 1}}, []float64{0, 0}, Options{}, Failed, "error 3 is 0"},
		{"errors", Problem{Function: x, Y: y, Sigma: []float64{1}}, []float64{0, 0}, Options{}, Failed, "4 values and 1 errors"},
		{"bounds", Problem{Function: x, Y: y, Low: []float64{0, 3}, High: []float64{1, 2}}, []float64{0, 0}, Options{}, Failed, "bounds 3 and 2 of parameter 2"},
		{"bound", Problem{Function: x, Y: y, Low: []float64{0}}, []float64{0, 0}, Options{}, Failed, "bounds do not fit 2 parameters"},
		{"nothing", Problem{Function: x, Y: y}, nil, Options{}, Failed, "nothing to fit"},
	} {
		r := Fit(c.p, c.start, c.o)
		if r.Status != c.status || !strings.Contains(r.Why, c.why) || (c.why == "") != (r.Why == "") {
			t.Errorf("%s: %v: %q, want %v: %q", c.name, r.Status, r.Why, c.status, c.why)
		}
		if r.Status == Failed && len(c.start) > 0 && !math.IsNaN(r.P[0]) {
			t.Errorf("%s: a failed fit gave %v", c.name, r.P)
		}
	}
	// Out of iterations, and says so.
	d := ready(grown(Gompertz, logs(3, 0.9, 1.5), 50, 10, 0.05, 0, 1), Logarithm)
	r := Fit(Problem{Function: Gompertz.On(d.t, Logarithm), Y: d.y}, []float64{-3, 2, 0.1, 0}, Options{Iterations: 2})
	if r.Status != Stopped || !strings.Contains(r.Why, "2 iterations") {
		t.Errorf("after two iterations: %v: %s", r.Status, r.Why)
	}
}

// With a parameter held at a bound, the others are those of the fit that has
// it fixed there, and the bound has no standard error.
func TestBounds(t *testing.T) {
	x, y := line{1, 2, 3, 4}, []float64{1.1, 1.9, 3.2, 3.9}
	at := Fit(Problem{Function: x, Y: y, Low: []float64{0.5, -1}, High: []float64{2, 2}}, []float64{1, 0}, Options{})
	fixed := Fit(Problem{Function: x, Y: y, Fixed: []bool{true, false}}, []float64{0.5, 0}, Options{})
	if at.P[0] != 0.5 || !at.AtBound[0] || !math.IsNaN(at.SE[0]) {
		t.Errorf("at the bound: %v, %v, %v", at.P, at.AtBound, at.SE)
	}
	if off(at.P[1], fixed.P[1]) > 1e-9 || off(at.SE[1], fixed.SE[1]) > 1e-9 {
		t.Errorf("slope %g +- %g, with the other fixed %g +- %g", at.P[1], at.SE[1], fixed.P[1], fixed.SE[1])
	}
	// By hand: sum t(y - 0.5)/sum t^2.
	if want := (0.6 + 2*1.4 + 3*2.7 + 4*3.4) / 30; off(at.P[1], want) > 1e-12 {
		t.Errorf("slope %.15g, want %.15g", at.P[1], want)
	}
}

// Weights of one over sigma squared: two equal points count as one of sigma
// over the root of two.
func TestSigma(t *testing.T) {
	twice := Fit(Problem{Function: line{1, 2, 2, 3, 4}, Y: []float64{1.1, 1.9, 1.9, 3.2, 3.9}}, []float64{0, 0}, Options{})
	once := Fit(Problem{Function: line{1, 2, 3, 4}, Y: []float64{1.1, 1.9, 3.2, 3.9}, Sigma: []float64{1, math.Sqrt(0.5), 1, 1}}, []float64{0, 0}, Options{})
	for j := range twice.P {
		if math.Abs(twice.P[j]-once.P[j]) > 1e-12 {
			t.Errorf("parameter %d: %g and %g", j, twice.P[j], once.P[j])
		}
	}
}

// A curve's band is that of a line where the model is one.
func TestDensity(t *testing.T) {
	c := grown(Exponential, []float64{0, 0.5}, 30, 5, 0.1, 0, 4)
	for i := range c.Days {
		c.Days[i] += 20000 // days since 1970
	}
	f := FitModel(c, Exponential, Setting{})
	d := ready(c, Logarithm)
	l, err := LogLinear(d.t, d.y, nil)
	if err != nil {
		t.Fatal(err)
	}
	sxx := math.Pow(l.ResidualSD/l.SlopeSE, 2)
	se := l.ResidualSD * math.Sqrt(1./30+2.5*2.5/sxx) // at t = 5, 2.5 from the mean
	i := f.Density(20005)
	for _, v := range [][2]float64{{i.Likely, math.Exp(l.Intercept + 5*l.Slope)}, {math.Log(i.High / i.Likely), f.quantile() * se},
		{math.Log(i.Likely / i.Low), f.quantile() * se}} {
		if off(v[0], v[1]) > 1e-6 {
			t.Errorf("band %v: %g, want %g", i, v[0], v[1])
		}
	}
}
