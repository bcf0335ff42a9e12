package expect

import (
	"errors"

	"gonum.org/v1/gonum/mat"
)

// Belief is what is held of the parameters of a law: normal about Mean with
// covariance Cov, row by row. It is a plain value.
type Belief struct {
	Mean vector
	Cov  [params * params]float64
}

func (b *Belief) sym() *mat.SymDense {
	return mat.NewSymDense(params, append([]float64(nil), b.Cov[:]...))
}

// spread returns a belief without correlations.
func spread(mean, sd vector) Belief {
	b := Belief{Mean: mean}
	for i, s := range sd {
		b.Cov[i*params+i] = s * s
	}
	return b
}

// fitted is what came of a fit.
type fitted struct {
	strain vector
	lots   []vector      // differences from strain
	cov    *mat.SymDense // of strain and then the differences of each lot in turn
	cost   float64
}

// tries is how many steps a fit takes at most, and enough the improvement of
// the cost that is not worth another.
const tries, enough = 12, 0.02

// fit brings a strain's parameters, believed to be prior, and the differences
// of its lots, believed to be normal about zero with the standard deviations
// own (0: a lot never differs there), to the most likely values given their
// records, beginning at from. Levenberg's and Marquardt's steps with derivatives by differences.
func fit(prior *Belief, from, own vector, recs []*Record, n noise) (fitted, error) {
	var dims []int
	for i, s := range own {
		if s > 0 {
			dims = append(dims, i)
		}
	}
	f := fitting{prior: prior, own: own, dims: dims, recs: recs, noise: n}
	var chol mat.Cholesky
	if !chol.Factorize(prior.sym()) {
		return fitted{}, errors.New("fit the expected course: the prior is singular")
	}
	f.precision = mat.NewSymDense(params, nil)
	if err := chol.InverseTo(f.precision); err != nil {
		return fitted{}, err
	}
	return f.run(from)
}
