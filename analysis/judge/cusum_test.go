package judge

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// off reports whether got is farther from want than the share within.
func off(got, want, within float64) bool { return !(math.Abs(got-want) <= within*math.Abs(want)) }

// Average runs at k = 1/2, by the shift in standard deviations: one-sided ones
// computed with the R package spc 0.6.7 (xcusum.arl, r = 100), which are held
// exactly; two-sided ones as printed in Montgomery, Introduction to Statistical
// Quality Control, and in the NIST/SEMATECH e-Handbook 6.3.2.3, from memory,
// which are held to half a unit of their last digit and a little.
func TestAverageRunTables(t *testing.T) {
	for _, c := range []struct {
		shift        float64
		four, five   float64 // one-sided, h = 4 and 5
		four2, five2 float64 // two-sided, printed
	}{
		{0, 335.3676, 930.8870, 168, 465},
		{0.25, 77.07852, 141.6877, 74.2, 139},
		{0.5, 26.67916, 38.00961, 26.6, 38.0},
		{0.75, 13.28660, 17.04853, 13.3, 17.0},
		{1, 8.383202, 10.37598, 8.38, 10.4},
		{1.5, 4.747168, 5.747218, 4.75, 5.75},
		{2, 3.342770, 4.008871, 3.34, 4.01},
		{2.5, 2.619519, 3.113688, 2.62, 3.11},
		{3, 2.194481, 2.573252, 2.19, 2.57},
		{4, 1.708457, 2.012568, 1.71, 2.01},
	} {
		for _, h := range []struct{ h, one, two float64 }{{4, c.four, c.four2}, {5, c.five, c.five2}} {
			up, down := AverageRun(0.5, h.h, c.shift), AverageRun(0.5, h.h, -c.shift)
			if off(up, h.one, 1e-6) {
				t.Errorf("h %g, shift %g: %.7g, want %.7g", h.h, c.shift, up, h.one)
			}
			// Two one-sided charts together: 1/run = 1/up + 1/down.
			if both := 1 / (1/up + 1/down); off(both, h.two, 0.0036) {
				t.Errorf("h %g, shift %g, both sides: %.4g, want %.4g", h.h, c.shift, both, h.two)
			}
		}
	}
}

// Thresholds for wanted runs, computed with spc 0.6.7 (xcusum.crit); and those
// of two-sided charts, whose sides have twice the run each, computed likewise
// and as printed by Hawkins 1993, from memory.
func TestThresholdTables(t *testing.T) {
	for _, c := range []struct{ run, quarter, half, one float64 }{
		{100, 4.41817, 2.84941, 1.53165},
		{370, 6.70758, 4.09545, 2.17545},
		{500, 7.26726, 4.38913, 2.32324},
		{1000, 8.58506, 5.07070, 2.66506},
		{5000, 11.73574, 6.66927, 3.46696},
		{10000, 13.11131, 7.36079, 3.81373},
	} {
		for k, want := range map[float64]float64{0.25: c.quarter, 0.5: c.half, 1: c.one} {
			if got := Threshold(k, c.run); math.Abs(got-want) > 1e-5 {
				t.Errorf("run %g, k %g: %.6f, want %.5f", c.run, k, got, want)
			}
		}
	}
	for _, c := range []struct{ k, want, printed float64 }{{0.25, 8.00829, 8.01}, {0.5, 4.77383, 4.77}, {0.75, 3.33897, 3.34}, {1, 2.51626, 2.52},
		{1.25, 1.98622, 1.99}, {1.5, 1.60410, 1.61}} {
		if got := Threshold(c.k, 2*370); math.Abs(got-c.want) > 1e-5 || math.Abs(got-c.printed) > 0.0065 {
			t.Errorf("both sides 370, k %g: %.6f, want %.5f, about %.2f", c.k, got, c.want, c.printed)
		}
	}
}

// The threshold for a run gives that run.
func TestThresholdHoldsItsRun(t *testing.T) {
	for _, k := range []float64{0.1, 0.3, 0.75, 1.4} {
		for _, run := range []float64{40, 3e3, 2e6, 1e10} {
			if h := Threshold(k, run); off(AverageRun(k, h, 0), run, 1e-5) {
				t.Errorf("k %g: run %g at the threshold %g, want %g", k, AverageRun(k, h, 0), h, run)
			}
		}
	}
	if h := Threshold(0, 8000); h < 64 || h > maxThreshold || off(AverageRun(0, h, 0), 8000, 1e-5) {
		t.Errorf("without a reference: threshold %g, run %g", h, AverageRun(0, h, 0))
	}
}

// Delays of sums designed for a run, at the shift 2k they are made for, computed
// with spc 0.6.7. From one decade of the run to the next the delay grows by
// ln 10 over the Kullback-Leibler divergence 2k^2 in the end (Lorden 1971, Ann.
// Math. Stat. 42:1897-1908).
func TestDelaysOfDesigns(t *testing.T) {
	for _, c := range []struct{ k, run, want float64 }{
		{0.25, 100, 14.845}, {0.25, 1000, 31.083}, {0.25, 10000, 49.133},
		{0.5, 100, 6.1078}, {0.5, 370, 8.5730}, {0.5, 1000, 10.5171}, {0.5, 10000, 15.0937},
		{1, 100, 2.2672}, {1, 1000, 3.4132}, {1, 10000, 4.5611},
	} {
		if got := AverageRun(c.k, Threshold(c.k, c.run), 2*c.k); off(got, c.want, 5e-5) {
			t.Errorf("k %g, run %g: delay %.5g, want %.5g", c.k, c.run, got, c.want)
		}
	}
	slope := AverageRun(0.5, Threshold(0.5, 1e8), 1) - AverageRun(0.5, Threshold(0.5, 1e7), 1)
	if off(slope, 2*math.Ln10, 1e-3) {
		t.Errorf("delay grows by %.5f a decade, want %.5f", slope, 2*math.Ln10)
	}
}

// Siegmund 1985, Sequential Analysis: run = (exp(-2Db) + 2Db - 1)/(2D^2) with
// D = shift - k and b = h + 1.166, from memory; said to be within 1 % up to one
// standard deviation.
func TestSiegmundAgrees(t *testing.T) {
	for _, h := range []float64{4, 5, 8} {
		for _, shift := range []float64{0, 0.25, 0.75, 1} {
			d, b := shift-0.5, h+1.166
			if got, want := AverageRun(0.5, h, shift), (math.Exp(-2*d*b)+2*d*b-1)/(2*d*d); off(got, want, 0.01) {
				t.Errorf("h %g, shift %g: %.5g, Siegmund %.5g", h, shift, got, want)
			}
		}
	}
}

// markov is the chain of Brook and Evans 1972 with n states.
func markov(k, h, shift float64, n int) float64 {
	w := 2 * h / float64(2*n-1)
	a, one := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		for j := range n {
			step := float64(j-i)*w + k - shift
			p := upTo(step+w/2) - upTo(step-w/2)
			if j == 0 {
				p = upTo(step + w/2)
			}
			a.Set(i, j, -p)
		}
		a.Set(i, i, a.At(i, i)+1)
		one.SetVec(i, 1)
	}
	var run mat.VecDense
	if err := run.SolveVec(a, one); err != nil {
		return math.NaN()
	}
	return run.AtVec(0)
}

// Another way to the same: the Markov chain, its error by the square of the
// number of states taken out from two of them.
func TestMarkovChainAgrees(t *testing.T) {
	for _, c := range []struct{ k, h, shift float64 }{{0.5, 5, 0}, {0.5, 5, 1}, {0.25, 8, 0}, {0.25, 8, 0.5}, {1, 2.5, 0}, {0.1, 12, 0}, {0.5, 0.3, 0}} {
		rough, fine := markov(c.k, c.h, c.shift, 100), markov(c.k, c.h, c.shift, 200)
		want := fine + (fine-rough)/3
		if got := AverageRun(c.k, c.h, c.shift); off(got, want, 1e-4) {
			t.Errorf("%+v: %.7g, the chain %.7g", c, got, want)
		}
	}
}

// A quadrature of n nodes is exact for polynomials up to the degree 2n - 1.
func TestLegendreIsExact(t *testing.T) {
	for _, n := range []int{2, 3, 16, 25, 26, 27, 100, 416} {
		at, weight := legendre(n, 2)
		for _, degree := range []int{0, 1, 2, n, 2*n - 1} {
			sum := 0.
			for i, x := range at {
				sum += weight[i] * math.Pow(x/2, float64(degree))
			}
			if want := 2 / float64(degree+1); off(sum, want, 1e-11) {
				t.Errorf("%d nodes, degree %d: %.14g, want %.14g", n, degree, sum, want)
			}
		}
	}
}

// Four digits hold: twice the states change nothing that is shown, from the
// narrowest sums to the longest runs.
func TestEnoughStates(t *testing.T) {
	for _, k := range []float64{0, 0.1, 0.25, 0.5, 1, 2} {
		for _, h := range []float64{0, 0.01, 0.5, 2, 5, 10, 20, 40} {
			for _, shift := range []float64{-0.5, 0, k, 2 * k, 4} {
				few, many := AverageRun(k, h, shift), averageRun(k, h, shift, 2*nodes(h))
				if few != many && off(few, many, 2e-5) {
					t.Errorf("k %g, h %g, shift %g: %.8g, with more states %.8g", k, h, shift, few, many)
				}
			}
		}
	}
}

// At the threshold 0 a sum signals with the first observation above k.
func TestAverageRunEdges(t *testing.T) {
	if got, want := AverageRun(1, 0, 0), 1/upTo(-1); off(got, want, 1e-12) {
		t.Errorf("h 0: %g, want %g", got, want)
	}
	nan := math.NaN()
	for name, c := range map[string]struct{ got, want float64 }{
		"below 0":    {AverageRun(1, -1, 0), 1},
		"too long":   {AverageRun(1, 60, 0), math.Inf(1)},
		"endless":    {AverageRun(0.5, math.Inf(1), 0), math.Inf(1)},
		"run of 1":   {Threshold(0.5, 1), 0},
		"run of inf": {Threshold(0.5, math.Inf(1)), math.Inf(1)},
		"too wide":   {Threshold(0, 1e9), math.Inf(1)},
	} {
		if c.got != c.want {
			t.Errorf("%s: %g, want %g", name, c.got, c.want)
		}
	}
	for _, v := range []float64{AverageRun(nan, 1, 0), AverageRun(1, nan, 0), AverageRun(1, 1, nan), Threshold(nan, 9), Threshold(1, nan)} {
		if !math.IsNaN(v) {
			t.Errorf("of nothing known: %g", v)
		}
	}
}

// What the sum really does, with runs played from chance.
func TestRunsPlayed(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		k, h, shift float64
		runs        int
	}{{0.5, 3, 0, 20000}, {0.5, 3, 1, 100000}, {0.25, 4, 0, 20000}, {1, 2, 2, 100000}, {0.5, 4, 0, 20000}} {
		var sum, squares float64
		for range c.runs {
			n := 0.
			for s := Cusum(0); !s.Signals(c.h); n++ {
				s = s.Step(c.shift+r.NormFloat64(), c.k)
			}
			sum, squares = sum+n, squares+n*n
		}
		n := float64(c.runs)
		mean := sum / n
		sem := math.Sqrt((squares/n - mean*mean) / n)
		if want := AverageRun(c.k, c.h, c.shift); math.Abs(mean-want) > 4*sem {
			t.Errorf("%+v: played %.3f with error %.3f, want %.3f", c, mean, sem, want)
		}
	}
}

// Montgomery and Runger, Applied Statistics and Probability for Engineers, 3rd
// edition, table 16-7: concentrations of a chemical, target 99; K = 1 and H = 5
// in the units of the measurement, K from memory; sums by hand.
func TestWorkedConcentrations(t *testing.T) {
	x := []float64{102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0}
	up := []float64{2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0}
	down := []float64{0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0}
	var high, low Cusum
	for i, v := range x {
		high, low = high.Step(v-99, 1), low.Step(99-v, 1)
		if math.Abs(float64(high)-up[i]) > 1e-9 || math.Abs(float64(low)-down[i]) > 1e-9 || high.Signals(5) || low.Signals(5) {
			t.Errorf("after %d: %.4f and %.4f, want %.1f and %.1f", i+1, high, low, up[i], down[i])
		}
	}
}

// The example of SAS/QC's CUSUM procedure: weights of cans, mean 8.100, standard
// deviation 0.050, k = 1/2, h = 3, said to run about 100 while nothing is wrong
// and about 5 after a shift of one; the exact runs computed with spc 0.6.7.
func TestWorkedCans(t *testing.T) {
	x := []float64{8.024, 7.971, 8.125, 8.123, 8.068, 8.177, 8.229, 8.072, 8.066, 8.089, 8.058, 8.147, 8.141, 8.047, 8.125}
	want := []float64{0, 0, 0, 0, 0, 1.04, 3.12, 2.06, 0.88, 0.16, 0, 0.44, 0.76, 0, 0}
	var s Cusum
	for i, v := range x {
		s = s.Step((v-8.1)/0.05, 0.5)
		if math.Abs(float64(s)-want[i]) > 1e-9 || s.Signals(3) != (i == 6) {
			t.Errorf("hour %d: %.4f, want %.2f; signals %t", i+1, s, want[i], s.Signals(3))
		}
	}
	if in, out := AverageRun(0.5, 3, 0), AverageRun(0.5, 3, 1); off(in, 117.596, 5e-6) || off(out, 6.404, 1e-4) {
		t.Errorf("runs %.4f and %.4f", in, out)
	}
}
