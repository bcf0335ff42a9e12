package growth

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// worstCondition is the condition number of the Jacobian, its columns scaled to
// one length, beyond which its parameters cannot be told apart.
const worstCondition = 1e10

// Fit finds the parameters that make the (robust) sum of squares least, from
// start and within the bounds. It always returns, and always with a status.
func Fit(p Problem, start []float64, o Options) Result {
	if why := p.check(start); why != "" {
		return failed(len(start), why)
	}
	s := newSearch(p, len(start))
	end := s.from(start, o)
	if end == lost {
		r := failed(len(start), "the function has no value at the start")
		r.Evaluations = s.evaluations
		return r
	}
	scale := math.NaN()
	if o.Loss != Squares {
		end, scale = s.reweigh(end, o)
	}
	return s.result(end, o, scale)
}

func failed(n int, why string) Result {
	r := Result{Status: Failed, Why: why, RSS: math.NaN(), SD: math.NaN(), AtBound: make([]bool, n)}
	for range n {
		r.P, r.SE = append(r.P, math.NaN()), append(r.SE, math.NaN())
	}
	return r
}

// result makes up the account of a search that has ended.
func (s *search) result(end ending, o Options, scale float64) Result {
	r := Result{
		Status: Converged, P: s.at.p, SE: make([]float64, s.n), AtBound: make([]bool, s.n),
		RSS: s.plainRSS(), Evaluations: s.evaluations,
	}
	free := s.settled(r.AtBound)
	r.DF = s.m - len(free)
	r.SD = math.Sqrt(r.RSS / float64(r.DF))
	spread := r.SD
	if o.Loss != Squares {
		r.Weights, r.SD = s.w, scale
		spread = o.Loss.spread(s.residuals(), scale, len(free))
	}
	why := s.covary(&r, free, spread)
	switch {
	case end == exhausted:
		r.Status, r.Why = Stopped, fmt.Sprintf("not settled after %d iterations", o.iterations())
	case end == stuck:
		r.Status, r.Why = Stopped, "no way down was found, though the bottom is not reached"
	case why != "":
		r.Status, r.Why = IllDetermined, why
	}
	return r
}

// settled lists the parameters that are neither fixed nor at a bound, and
// marks those at one.
func (s *search) settled(atBound []bool) []int {
	var free []int
	for j, v := range s.at.p {
		if s.problem.fixed(j) {
			continue
		}
		low, high := s.problem.bounds(j)
		if v <= low || v >= high {
			atBound[j] = true
			continue
		}
		free = append(free, j)
	}
	return free
}

// wellConditioned is the condition number of the scaled normal equations up to
// which they give covariances to nine digits or more.
const wellConditioned = 1e6

// covary fills in covariance and standard errors: from the normal equations
// where those are well conditioned, else from the Jacobian by QR, which sees
// twice as many digits. It returns a clause that says what the data do not tell.
func (s *search) covary(r *Result, free []int, spread float64) string {
	for j := range r.SE {
		r.SE[j] = math.NaN()
	}
	if len(free) == 0 {
		return ""
	}
	for _, j := range free {
		if l := s.at.a[j*s.n+j]; !(l > 1e-20*s.longest[j]) || l == 0 {
			return fmt.Sprintf("parameter %d makes no difference to any point", j+1)
		}
	}
	inverse, length, ok := s.inverse(free)
	if !ok {
		return "the data tell some parameters only together, not apart"
	}
	if r.DF <= 0 {
		return "as many parameters as points, so no error can be told"
	}
	r.Covariance = mat.NewSymDense(s.n, nil)
	for a, j := range free {
		for b, l := range free[:a+1] {
			r.Covariance.SetSym(j, l, inverse[a*len(free)+b]*spread*spread/(length[a]*length[b]))
		}
		r.SE[j] = math.Sqrt(r.Covariance.At(j, j))
	}
	return ""
}

// inverse is that of J'J with each column of J over its length, row by row;
// false where that is singular for all that can be told.
func (s *search) inverse(free []int) (inverse, length []float64, ok bool) {
	k := len(free)
	length = make([]float64, k)
	if !s.robust {
		m := make([]float64, k*k)
		for a, j := range free {
			length[a] = math.Sqrt(s.at.a[j*s.n+j])
			for b, l := range free[:a+1] {
				m[a*k+b] = s.at.a[j*s.n+l] / (length[a] * length[b])
			}
		}
		size, most := oneNorm(m, k), 0.0
		if cholesky(m, k) {
			inverse = make([]float64, k*k)
			for a := range k {
				inverse[a*k+a] = 1
				substitute(m, k, inverse[a*k:a*k+k])
				most = math.Max(most, norm1(inverse[a*k:a*k+k]))
			}
			if size*most < wellConditioned {
				return inverse, length, true
			}
		}
	}
	return s.inverseQR(free, length)
}

func norm1(v []float64) float64 {
	sum := 0.0
	for _, e := range v {
		sum += math.Abs(e)
	}
	return sum
}

func (s *search) inverseQR(free []int, length []float64) ([]float64, []float64, bool) {
	k := len(free)
	var qr mat.QR
	qr.Factorize(s.columns(free, length))
	if c := qr.Cond(); !(c < worstCondition) {
		return nil, nil, false
	}
	r := invertR(&qr, k)
	inverse := make([]float64, k*k)
	for a := range k {
		for b := range k {
			inverse[a*k+b] = mat.Dot(r.RowView(a), r.RowView(b))
		}
	}
	return inverse, length, true
}

// columns returns the free columns of the Jacobian over Sigma, each scaled to
// the length one, and puts their lengths into length.
func (s *search) columns(free []int, length []float64) *mat.Dense {
	f, jac := make([]float64, s.m), make([]float64, s.m*s.n)
	s.problem.Function.Evaluate(s.at.p, f, jac)
	k := len(free)
	d := mat.NewDense(s.m, k, nil)
	raw := d.RawMatrix().Data
	clear(length)
	for i := range s.m {
		for a, j := range free {
			v := jac[i*s.n+j] * s.scale[i]
			raw[i*k+a] = v
			length[a] += v * v
		}
	}
	for a := range length {
		length[a] = math.Sqrt(length[a])
	}
	for i := range raw {
		if l := length[i%k]; l > 0 {
			raw[i] /= l
		}
	}
	return d
}

// invertR returns the inverse of R, whose rows give (R'R)^-1 by their products.
func invertR(qr *mat.QR, k int) *mat.Dense {
	var r mat.Dense
	qr.RTo(&r)
	upper := mat.NewTriDense(k, mat.Upper, nil)
	for i := range k {
		for j := i; j < k; j++ {
			upper.SetTri(i, j, r.At(i, j))
		}
	}
	var inverse mat.TriDense
	_ = inverse.InverseTri(upper) // its only error is a condition that was looked at already
	return mat.DenseCopyOf(&inverse)
}
