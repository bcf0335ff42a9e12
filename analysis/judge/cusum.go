package judge

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Cusum is a one-sided cumulative sum after Page 1954, Biometrika 41:100-115,
// of observations in units of their standard deviation: what the newest of
// them lie above a reference together, counted from where that is most. It is
// a plain value; zero is nothing so far.
type Cusum float64

// Step returns the sum after one more observation z; k is the reference, half
// the shift that is to be found soonest. An observation that is unknown, NaN,
// changes nothing.
func (s Cusum) Step(z, k float64) Cusum {
	if math.IsNaN(z) {
		return s
	}
	return max(0, s+Cusum(z-k))
}

// Signals reports whether the sum has passed the threshold h.
func (s Cusum) Signals(h float64) bool { return float64(s) > h }

// longestRun is the longest average run that can be told: the equations lose
// as many digits as it has, and four must be left.
const longestRun = 1e11

// AverageRun is how many observations a [Cusum] takes in from zero to its first
// signal, on average, when they are independent and normal with variance 1 and
// mean shift. Shift 0 is the run to a false signal, shift 2k the delay that k is
// made for. It is infinite above 1e11. Observations that hang together, or have
// heavier tails than the normal, signal sooner.
//
// It solves Page's integral equation for the run L from a sum x,
//
//	L(x) = 1 + L(0) Phi(k - shift - x) + int_0^h L(y) phi(y - x + k - shift) dy
//
// at the nodes of a Gauss-Legendre quadrature and at 0. The Markov chain of
// Brook and Evans 1972, Biometrika 59:539-549, is the same with a midpoint rule,
// whose error falls with the square of the number of its states; this one falls
// faster than any power, since the kernel is smooth.
func AverageRun(k, h, shift float64) float64 { return averageRun(k, h, shift, nodes(h)) }

// nodes is how many states the equation has for a threshold h, beside 0: at
// four for each standard deviation neighbours are 0.4 apart in the middle, and
// with 16 at the ends seven digits hold.
func nodes(h float64) int { return 16 + int(math.Ceil(4*max(0, min(h, maxThreshold)))) }

// maxThreshold bounds the work, in standard deviations: sums that go so far are
// of no use for finding anything.
const maxThreshold = 100

func averageRun(k, h, shift float64, n int) float64 {
	k -= shift
	switch {
	case math.IsNaN(k) || math.IsNaN(h):
		return math.NaN()
	case h < 0:
		return 1
	case h == 0: // the first observation above k
		return 1 / upTo(-k)
	case h > maxThreshold || k > maxThreshold:
		return math.Inf(1)
	}
	at, weight := legendre(n, h)
	at = append(at, 0) // where it starts, and where the sum stands often
	a, one := mat.NewDense(n+1, n+1, nil), mat.NewVecDense(n+1, nil)
	for i, x := range at {
		for j, y := range at[:n] {
			a.Set(i, j, -weight[j]*phi(y-x+k))
		}
		a.Set(i, n, -upTo(k-x))
		a.Set(i, i, a.At(i, i)+1)
		one.SetVec(i, 1)
	}
	var run mat.VecDense
	if err := run.SolveVec(a, one); err != nil { // too ill-conditioned, which a run beyond all bounds makes it
		return math.Inf(1)
	}
	if l := run.AtVec(n); l >= 1 && l <= longestRun {
		return l
	}
	return math.Inf(1)
}

// legendre returns the n nodes and weights of the Gauss-Legendre quadrature from
// 0 to h: the roots of the Legendre polynomial by Newton's method, from
// Tricomi's first approximation. Those of gonum 0.17.0 are wrong for 26 nodes.
func legendre(n int, h float64) (at, weight []float64) {
	at, weight = make([]float64, n), make([]float64, n)
	for i := range n {
		x := math.Cos(math.Pi * (float64(i) + 0.75) / (float64(n) + 0.5))
		var slope float64
		for range 8 { // the digits double each time: fewer do
			p, before := x, 1.
			for j := 2; j <= n; j++ {
				p, before = (float64(2*j-1)*x*p-float64(j-1)*before)/float64(j), p
			}
			slope = float64(n) * (x*p - before) / (x*x - 1)
			x -= p / slope
		}
		at[i], weight[i] = h*(1-x)/2, h/((1-x*x)*slope*slope)
	}
	return at, weight
}

// phi is the density of the standard normal distribution, upTo its integral.
func phi(x float64) float64  { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }
func upTo(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// Threshold is the least h, to eight digits, at which the average run to a
// false signal is run observations or longer. So n sums stepped each d signal falsely no oftener
// than c times in a time t, taken together, at
//
//	Threshold(k, n t/d/c)
//
// since false signals come nearly as by a Poisson process. It is infinite where
// run is above 1e11 or no threshold up to 100 holds it.
func Threshold(k, run float64) float64 {
	low, high := 0., 1.
	switch {
	case math.IsNaN(k) || math.IsNaN(run):
		return math.NaN()
	case run > longestRun:
		return math.Inf(1)
	case AverageRun(k, 0, 0) >= run:
		return 0
	}
	for AverageRun(k, high, 0) < run {
		if high == maxThreshold {
			return math.Inf(1)
		}
		low, high = high, min(2*high, maxThreshold)
	}
	for high-low > 1e-8*high {
		if middle := (low + high) / 2; AverageRun(k, middle, 0) < run {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}
