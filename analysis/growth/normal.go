package growth

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// evaluate works out function, derivatives and sum of squares at q.p; what is
// not finite makes the sum infinite.
func (s *search) evaluate(q *place) {
	s.evaluations++
	s.problem.Function.Evaluate(q.p, q.f, q.jac)
	sum := 0.0
	for i, y := range s.problem.Y {
		r := (y - q.f[i]) * s.scale[i]
		sum += s.w[i] * r * r
	}
	for _, d := range q.jac {
		if d-d != 0 {
			sum = math.Inf(1)
			break
		}
	}
	if math.IsNaN(sum) {
		sum = math.Inf(1)
	}
	q.sum = sum
}

// linearise works out J'WJ and J'Wr where the search stands.
func (s *search) linearise() {
	clear(s.a)
	clear(s.gradient)
	n := s.n
	for i, y := range s.problem.Y {
		w := s.w[i] * s.scale[i] * s.scale[i]
		r := w * (y - s.at.f[i])
		row := s.at.jac[i*n : i*n+n]
		for j, d := range row {
			s.gradient[j] += r * d
			wd := w * d
			to := s.a[j*n : j*n+j+1]
			for k := range to {
				to[k] += wd * row[k]
			}
		}
	}
	for j := range n {
		for k := range j {
			s.a[k*n+j] = s.a[j*n+k]
		}
		s.longest[j] = math.Max(s.memory*s.longest[j], s.a[j*n+j])
	}
}

// plainRSS is the sum of squares without the loss's weights.
func (s *search) plainRSS() float64 {
	sum := 0.0
	for i, y := range s.problem.Y {
		r := (y - s.at.f[i]) * s.scale[i]
		sum += r * r
	}
	return sum
}

// residuals returns (Y - f)/Sigma.
func (s *search) residuals() []float64 {
	r := make([]float64, s.m)
	for i, y := range s.problem.Y {
		r[i] = (y - s.at.f[i]) * s.scale[i]
	}
	return r
}

// solver solves the damped normal equations, each parameter scaled so that the
// diagonal is one.
type solver struct {
	x      []float64       // the step, one for each free parameter
	unit   []float64       // scale of each
	matrix []*mat.SymDense // one for each number of free parameters
	chol   mat.Cholesky
	rhs    []float64
}

func newSolver(n int) solver {
	v := solver{x: make([]float64, n), unit: make([]float64, n), rhs: make([]float64, n)}
	v.matrix = make([]*mat.SymDense, n+1)
	return v
}

// tooNearSingular is the condition of the scaled normal equations beyond which
// an undamped step is worth nothing.
const tooNearSingular = 1e15

// solve puts into x the solution of (A + damping D) x = gradient over the free
// parameters; false where there is none.
func (v *solver) solve(s *search, damping float64) bool {
	k := len(s.free)
	if v.matrix[k] == nil {
		v.matrix[k] = mat.NewSymDense(k, nil)
	}
	m := v.matrix[k]
	for a, j := range s.free {
		v.unit[a] = 1 / math.Sqrt(s.longest[j])
		v.rhs[a] = s.gradient[j] * v.unit[a]
		for b, l := range s.free[:a+1] {
			e := s.a[j*s.n+l] * v.unit[a] * v.unit[b]
			if a == b {
				e += damping
			}
			m.SetSym(a, b, e)
		}
	}
	if !v.chol.Factorize(m) || damping == 0 && !(v.chol.Cond() < tooNearSingular) {
		return false
	}
	// The condition was looked at above; with damping the solution is a step
	// down whatever it is.
	x := mat.NewVecDense(k, v.x[:k])
	_ = v.chol.SolveVecTo(x, mat.NewVecDense(k, v.rhs[:k]))
	for a := range k {
		v.x[a] *= v.unit[a]
		if !finite(v.x[a]) {
			return false
		}
	}
	return true
}
