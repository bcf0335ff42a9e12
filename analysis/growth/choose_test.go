package growth

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// grown is a model's curve of n points over days, with noise of the relative
// size cv and a floor.
func grown(m *Model, p []float64, n int, days, cv, floor float64, seed uint64) Curve {
	r := rand.New(rand.NewPCG(seed, 1))
	var c Curve
	for i := range n {
		t := days * float64(i) / float64(n-1)
		c.Days = append(c.Days, t)
		c.Values = append(c.Values, math.Exp(m.Value(p, t)+cv*r.NormFloat64())+floor*r.NormFloat64())
	}
	return c
}

func logs(rise, mu, lag float64) []float64 {
	return []float64{math.Log(0.05), math.Log(0.05) + rise, mu, lag}
}

// The model that made a curve is found again from the data alone, and its
// numbers within their errors.
func TestChooseFindsTheModel(t *testing.T) {
	for _, c := range []struct {
		m *Model
		p []float64
	}{
		{Exponential, []float64{math.Log(0.05), 0.6}},
		{Exponential, []float64{math.Log(0.5), -0.3}},
		{Logistic, []float64{math.Log(0.05), math.Log(1.2), 0.8}},
		{Gompertz, logs(3, 0.9, 1.5)},
		{ModifiedLogistic, logs(3, 0.9, 2)},
		{Baranyi, logs(3.5, 0.9, 2)},
	} {
		v := Choose(grown(c.m, c.p, 200, 10, 0.01, 0, 7), Setting{})
		f := v.Fits[v.Chosen]
		found := f.Model == c.m
		for _, i := range v.Alike {
			found = found || v.Fits[i].Model == c.m
		}
		if !found || v.Status != Converged {
			t.Errorf("%s taken for %s, %v: %s", c.m.Name, f.Model.Name, v.Status, v.Why)
		}
		mu := c.p[c.m.Index(Mu)]
		if !(math.Abs(v.Mu.Likely-mu) < 0.06*math.Abs(mu)) {
			t.Errorf("%s: mu %v, want %g", c.m.Name, v.Mu, mu)
		}
		if want := map[bool]Course{true: Grows, false: Dies}[mu > 0]; v.Course != want {
			t.Errorf("%s: %s, want %s", c.m.Name, v.Course, want)
		}
	}
}

// Perfect data give the parameters back.
func TestFitModelExact(t *testing.T) {
	for _, m := range Models {
		p := logs(3.5, 0.8, 1.7)[:min(len(m.Parameters), 4)]
		switch m {
		case Richards:
			p = append(p, 0.7)
		case Exponential:
			p = []float64{-3, 0.4}
		}
		for _, scale := range []Scale{Logarithm, Natural} {
			f := FitModel(grown(m, p, 60, 12, 0, 0, 1), m, Setting{Scale: scale})
			for i, want := range p {
				if math.Abs(f.P[i]-want) > 1e-6 || f.Status != Converged {
					t.Errorf("%s, scale %d: %s is %.9g, want %g (%v: %s)", m.Name, scale, m.Parameters[i].Name, f.P[i], want, f.Status, f.Why)
				}
			}
		}
	}
}

// Half a curve does not tell its plateau, whatever its model, and says so.
func TestPlateauNotTold(t *testing.T) {
	for m, days := range map[*Model]float64{Logistic: 0.8, Gompertz: 2.2, Baranyi: 2.2} {
		p := logs(3.5, 0.9, 1)[:len(m.Parameters)]
		f := FitModel(grown(m, p, 40, days, 0.02, 0, 3), m, Setting{})
		if f.Status != IllDetermined || f.Why == "" {
			t.Errorf("%s: %v: %s", m.Name, f.Status, f.Why)
		}
		if i := f.Interval(Plateau); !(i.High-i.Likely > 0.5) {
			t.Errorf("%s: plateau %v is narrow", m.Name, i)
		}
	}
}

// Where the data do not tell models apart, the verdict says so.
func TestNotApart(t *testing.T) {
	// A shape half-way between two models, seen through noise.
	v := Choose(grown(Richards, append(logs(3, 0.9, 1.5), 0.5), 20, 10, 0.12, 0, 5), Setting{})
	if v.Course != Grows || len(v.Alike) == 0 {
		t.Errorf("%s, %d alike, want some", v.Course, len(v.Alike))
	}
	// The same without noise is no riddle.
	v = Choose(grown(Richards, append(logs(3, 0.9, 1.5), 0.5), 20, 10, 1e-4, 0, 5), Setting{})
	if v.Fits[v.Chosen].Model != Richards || len(v.Alike) != 0 {
		t.Errorf("%s with %d alike, want modified Richards alone", v.Fits[v.Chosen].Model.Name, len(v.Alike))
	}
}

// flatCurve is a culture that does nothing, of 5 to 64 points.
func flatCurve(seed, k uint64, wild bool) Curve {
	r := rand.New(rand.NewPCG(seed, k))
	var c Curve
	n := 5 + int(k%60)
	for i := range n {
		e := r.NormFloat64()
		if wild { // Student's t of two degrees of freedom
			e /= math.Sqrt(r.ExpFloat64())
		}
		c.Days, c.Values = append(c.Days, 7*float64(i)/float64(n-1)), append(c.Values, 0.3+0.03*e)
	}
	return c
}

// Flat curves are given no growth rate: at most one in five thousand by chance,
// with wild values at most three times that, most of them with too few points for ranks.
// More curves, and others: NIGHTSHELF_FLAT=20000 NIGHTSHELF_SEED=2.
func TestFlatNoiseHasNoGrowth(t *testing.T) {
	curves := fromEnvironment("NIGHTSHELF_FLAT", 200)
	seed := uint64(fromEnvironment("NIGHTSHELF_SEED", 1))
	for _, wild := range []bool{false, true} {
		given, level := 0, 0
		for k := range uint64(curves) {
			v := Choose(flatCurve(seed, k, wild), Setting{Scale: Natural, Learn: true, NoProfile: true})
			if v.Course == Grows || v.Course == Dies || v.Mu.Known() {
				given++
				t.Logf("curve %d: %s by %s, mu %v", k, v.Course, v.Fits[v.Chosen].Model.Name, v.Mu)
			}
			if v.Course == Level {
				level++
			}
		}
		t.Logf("wild %v: %d of %d were given a growth rate, %d called level", wild, given, curves, level)
		expected := float64(curves) * chance * map[bool]float64{false: 1, true: 3}[wild]
		if float64(given) > expected+1+3*math.Sqrt(expected) {
			t.Errorf("wild %v: %d of %d flat curves were given a growth rate, want %.1f", wild, given, curves, expected)
		}
		if !wild && level < curves*8/10 {
			t.Errorf("%d of %d flat curves are called level", level, curves)
		}
	}
}

// A week's seven daily counts with errors of a tenth show their growth.
func TestWeekOfCounts(t *testing.T) {
	for _, m := range []*Model{Exponential, Logistic, Gompertz, Baranyi} {
		p := logs(3, 0.9, 1)[:min(len(m.Parameters), 4)]
		if m == Exponential {
			p = []float64{math.Log(0.05), 0.4}
		}
		growing := 0
		for seed := range uint64(100) {
			if Choose(grown(m, p, 7, 6, 0.1, 0, seed), Setting{Scale: Natural, Learn: true}).Course == Grows {
				growing++
			}
		}
		t.Logf("%s: %d of 100 are growing", m.Name, growing)
		if growing < 80 {
			t.Errorf("%s: %d of 100 are growing", m.Name, growing)
		}
	}
}

// What could hide a doubling is not called level.
func TestLevelSaysSomething(t *testing.T) {
	for course, c := range map[Course]Curve{
		Unclear: {Days: []float64{0, 3.3, 6.7, 10}, Values: []float64{0.05, 0.24, 0.24, 0.1}},
		Level:   {Days: []float64{0, 1, 2, 3, 4, 5}, Values: []float64{0.31, 0.29, 0.30, 0.31, 0.29, 0.30}},
	} {
		if v := Choose(c, Setting{Scale: Natural, Learn: true}); v.Course != course || v.Mu.Known() {
			t.Errorf("%s: %s, want %s", v.Course, v.Why, course)
		}
	}
}

// The intervals hold the truth about as often as they say: 95 %, here within
// what 300 curves can tell.
func TestIntervalsHoldTheTruth(t *testing.T) {
	p := logs(3, 0.9, 1.5)
	held := map[Parameter]int{}
	const curves = 300
	for seed := range uint64(curves) {
		f := FitModel(grown(Gompertz, p, 40, 8, 0.08, 0, seed), Gompertz, Setting{})
		for _, q := range []Parameter{Lag, Mu, Plateau} {
			if i := f.Interval(q); i.Low <= p[Gompertz.Index(q)] && p[Gompertz.Index(q)] <= i.High {
				held[q]++
			}
		}
	}
	for q, n := range held {
		if share := float64(n) / curves; share < 0.91 || share > 0.985 {
			t.Errorf("%s: %.3f of the intervals hold the truth, want 0.95", q.Name, share)
		}
	}
	if len(held) != 3 {
		t.Errorf("%d parameters held", len(held))
	}
}

// At the ends of a profile interval, the best fit with the parameter held is
// worse by just t squared.
func TestProfileEnds(t *testing.T) {
	d := ready(grown(Baranyi, logs(3, 0.9, 1.5), 40, 8, 0.08, 0, 2), Logarithm)
	s := Setting{}
	f := fitModel(d, Baranyi, s)
	f.profiles(d, s)
	for _, q := range []Parameter{Lag, Mu, Plateau} {
		i, j := f.Interval(q), Baranyi.Index(q)
		for _, end := range []float64{i.Low, i.High} {
			p := d.problem(Baranyi)
			p.Fixed = make([]bool, 4)
			p.Fixed[j] = true
			start := append([]float64{}, f.P...)
			start[j] = end
			r := Fit(p, start, Options{})
			if tau := math.Sqrt(r.RSS-f.RSS) / f.SD; off(tau, f.quantile()) > 1e-3 {
				t.Errorf("%s at %g: tau %g, want %g", q.Name, end, tau, f.quantile())
			}
		}
	}
}

// A profile that comes below the fit it began with leads to the better one.
func TestProfileFindsBetter(t *testing.T) {
	d := ready(grown(Baranyi, logs(3, 0.9, 1.5), 40, 8, 0.08, 0, 2), Logarithm)
	s := Setting{}
	good := fitModel(d, Baranyi, s)
	bad := good
	bad.P = append([]float64{}, good.P...)
	for j := range bad.P {
		bad.P[j] += 1.5 * good.SE[j] // as if the search had been led astray
	}
	r := d.problem(Baranyi)
	f, jac := make([]float64, len(d.y)), make([]float64, 4*len(d.y))
	r.Function.Evaluate(bad.P, f, jac)
	bad.RSS = 0
	for i := range f {
		bad.RSS += (d.y[i] - f[i]) * (d.y[i] - f[i])
	}
	bad.profiles(d, s)
	good.profiles(d, s)
	for _, q := range []Parameter{Lag, Mu, Plateau} {
		if a, b := bad.Interval(q), good.Interval(q); off(a.Low, b.Low) > 1e-3 || off(a.Likely, b.Likely) > 1e-6 || off(a.High, b.High) > 1e-3 {
			t.Errorf("%s: %v, want %v", q.Name, a, b)
		}
	}
	if bad.Status != Converged || off(bad.AICc, good.AICc) > 1e-6 {
		t.Errorf("%v, AICc %g, want %g", bad.Status, bad.AICc, good.AICc)
	}
}

// For a line, profile and standard error give one interval.
func TestProfileOfALine(t *testing.T) {
	f := FitModel(grown(Exponential, []float64{0, 0.5}, 30, 5, 0.1, 0, 4), Exponential, Setting{})
	i, half := f.Interval(Mu), f.quantile()*f.SE[1]
	if off(i.Low, f.P[1]-half) > 1e-4 || off(i.High, f.P[1]+half) > 1e-4 {
		t.Errorf("profile %v, want %g +- %g", i, f.P[1], half)
	}
}

// Bubbles that reach far up do not move a robust fit.
func TestBubbles(t *testing.T) {
	p := logs(3, 0.9, 1.5)
	c := grown(Gompertz, p, 200, 10, 0.02, 0, 9)
	for i := 3; i < len(c.Values); i += 12 {
		c.Values[i] *= 3
	}
	plain := FitModel(c, Gompertz, Setting{NoProfile: true})
	for _, l := range []Loss{Huber, Tukey} {
		f := FitModel(c, Gompertz, Setting{NoProfile: true, Options: Options{Loss: l}})
		if far := math.Abs(f.P[0]-p[0]) / math.Abs(plain.P[0]-p[0]); f.Status != Converged || far > 0.2 {
			t.Errorf("loss %d: start off by %.2f of plain least squares, %v: %s", l, far, f.Status, f.Why)
		}
		v := Choose(c, Setting{Options: Options{Loss: l}})
		if v.Course != Grows || math.Abs(v.Mu.Likely-0.9) > 0.05 {
			t.Errorf("loss %d: %s, mu %v, %s", l, v.Course, v.Mu, v.Why)
		}
	}
}

func TestShortCurves(t *testing.T) {
	for _, c := range []struct {
		name   string
		c      Curve
		course Course
		status Status
	}{
		{"none", Curve{}, Unclear, Failed},
		{"one", Curve{Days: []float64{1}, Values: []float64{1}}, Unclear, Failed},
		{"two", Curve{Days: []float64{1, 2}, Values: []float64{1, 2}}, Unclear, IllDetermined},
		{"zeros", Curve{Days: []float64{1, 2, 3, 4}, Values: make([]float64, 4)}, Unclear, Failed},
		{"negative", Curve{Days: []float64{1, 2, 3}, Values: []float64{-1, -2, -3}}, Unclear, Failed},
		{"one time", Curve{Days: []float64{1, 1, 1}, Values: []float64{1, 2, 3}}, Unclear, Failed},
		{"four doublings", Curve{Days: []float64{0, 1, 2, 3, 4}, Values: []float64{1, 2.01, 3.99, 8.02, 16}}, Grows, Converged},
		{"even", Curve{Days: []float64{0, 1, 2, 3, 4, 5}, Values: []float64{2, 2, 2, 2, 2, 2}}, Level, Converged},
	} {
		for _, scale := range []Scale{Logarithm, Natural} {
			v := Choose(c.c, Setting{Scale: scale})
			if v.Course != c.course || v.Status != c.status || (v.Status != Converged) != (v.Why != "") {
				t.Errorf("%s: %s, %v: %q, want %s, %v", c.name, v.Course, v.Status, v.Why, c.course, c.status)
			}
		}
	}
}

// Whatever comes in, there is an answer, soon, and it holds together.
func TestAnyCurve(t *testing.T) {
	values := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-0.1, 2), rapid.SampledFrom([]float64{0, 1, -1, math.NaN(), math.Inf(1), 1e-300, 1e300}))
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(0, 40).Draw(r, "n")
		var c Curve
		wild := rapid.Bool().Draw(r, "wild times")
		for i := range n {
			at := float64(i) / 4
			if wild {
				at = values.Draw(r, "t")
			}
			c.Days = append(c.Days, at)
			c.Values = append(c.Values, values.Draw(r, "v"))
		}
		if rapid.Bool().Draw(r, "weighted") {
			c.Sigma = Noise{Floor: 0.01, Relative: 0.02}.At(c.Values)
		}
		s := Setting{Scale: Scale(rapid.IntRange(0, 1).Draw(r, "scale")), Options: Options{Loss: Loss(rapid.IntRange(0, 2).Draw(r, "loss"))}}
		began := time.Now()
		v := Choose(c, s)
		if took := time.Since(began); took > 5*time.Second {
			r.Fatalf("took %v", took)
		}
		checkVerdict(r, v)
	})
}

func checkVerdict(r *rapid.T, v Verdict) {
	if v.Status != Converged && v.Why == "" {
		r.Fatalf("%v without a reason", v.Status)
	}
	if (v.Course == Grows) != (v.Mu.Likely > 0) || (v.Course == Dies) != (v.Mu.Likely < 0) {
		r.Fatalf("%s at mu %v", v.Course, v.Mu)
	}
	for _, f := range v.Fits {
		if f.Status == Failed {
			continue
		}
		for j, p := range f.P {
			if !finite(p) {
				r.Fatalf("%s, %v: parameter %d is %g", f.Model.Name, f.Status, j, p)
			}
		}
	}
}
