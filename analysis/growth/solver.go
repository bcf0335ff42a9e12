package growth

import "math"

// solver solves the damped normal equations, each parameter scaled so that the
// diagonal is one.
type solver struct {
	x      []float64 // the step, one for each free parameter
	unit   []float64 // scale of each
	matrix []float64 // scaled, then its Cholesky factor in the lower half
	column []float64 // of the inverse
}

func newSolver(n int) solver {
	return solver{x: make([]float64, n), unit: make([]float64, n), matrix: make([]float64, n*n), column: make([]float64, n)}
}

// tooNearSingular is the condition of the scaled normal equations beyond which
// an undamped step is worth nothing.
const tooNearSingular = 1e15

// solve puts into x the solution of (A + damping D) x = gradient over the free
// parameters; false where there is none.
func (v *solver) solve(s *search, damping float64) bool {
	k := len(s.free)
	for a, j := range s.free {
		v.unit[a] = 1 / math.Sqrt(s.longest[j])
		v.x[a] = s.at.gradient[j] * v.unit[a]
		for b, l := range s.free[:a+1] {
			e := s.at.a[j*s.n+l] * v.unit[a] * v.unit[b]
			if a == b {
				e += damping
			}
			v.matrix[a*k+b] = e
		}
	}
	size := oneNorm(v.matrix, k)
	if !cholesky(v.matrix, k) || damping == 0 && !(size*v.inverseNorm(k) < tooNearSingular) {
		return false
	}
	substitute(v.matrix, k, v.x)
	for a := range k {
		v.x[a] *= v.unit[a]
		if !finite(v.x[a]) {
			return false
		}
	}
	return true
}

// inverseNorm is the 1-norm of the inverse of the factorised matrix.
func (v *solver) inverseNorm(k int) float64 {
	most := 0.0
	for j := range k {
		c := v.column[:k]
		clear(c)
		c[j] = 1
		substitute(v.matrix, k, c)
		sum := 0.0
		for _, e := range c {
			sum += math.Abs(e)
		}
		most = math.Max(most, sum)
	}
	return most
}

// oneNorm is the 1-norm of a symmetric matrix given by its lower half.
func oneNorm(m []float64, k int) float64 {
	most := 0.0
	for i := range k {
		sum := 0.0
		for j := range k {
			sum += math.Abs(m[max(i, j)*k+min(i, j)])
		}
		most = math.Max(most, sum)
	}
	return most
}

// cholesky turns the lower half of a positive definite matrix into its factor L;
// false where it is none.
func cholesky(m []float64, k int) bool {
	for j := range k {
		for i := j; i < k; i++ {
			sum := m[i*k+j]
			for l := range j {
				sum -= m[i*k+l] * m[j*k+l]
			}
			if i > j {
				m[i*k+j] = sum / m[j*k+j]
				continue
			}
			if !(sum > 0) || math.IsInf(sum, 1) {
				return false
			}
			m[j*k+j] = math.Sqrt(sum)
		}
	}
	return true
}

// substitute solves L L' x = x in place.
func substitute(m []float64, k int, x []float64) {
	for i := range k {
		for j := range i {
			x[i] -= m[i*k+j] * x[j]
		}
		x[i] /= m[i*k+i]
	}
	for i := k - 1; i >= 0; i-- {
		for j := i + 1; j < k; j++ {
			x[i] -= m[j*k+i] * x[j]
		}
		x[i] /= m[i*k+i]
	}
}
