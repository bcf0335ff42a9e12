package expect

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// fitting is a fit under way. Its unknowns are the strain's parameters and
// then, for each lot in turn, its differences in dims.
type fitting struct {
	prior     *Belief
	own       vector
	dims      []int
	recs      []*Record
	noise     noise
	precision *mat.SymDense // of the prior
	buf       []float64
}

var errSingular = errors.New("fit the expected course: the readings do not determine it")

// nudge is the step of derivatives by differences, in prior standard deviations.
const nudge = 0.01

func (f *fitting) run(from vector) (fitted, error) {
	at := fitted{strain: from, lots: make([]vector, len(f.recs))}
	at.cost = f.cost(at)
	damp := 1e-3
	var hess *mat.SymDense
	for range tries {
		var grad *mat.VecDense
		hess, grad = f.gauss(at)
		before := at.cost
		for range 6 {
			next, err := f.move(at, hess, grad, damp)
			if err == nil && next.cost < at.cost {
				at, damp = next, damp/8
				break
			}
			damp = math.Max(damp*8, 1e-2)
		}
		if before-at.cost < enough {
			break
		}
	}
	// The curvature of the last step serves: it led hardly anywhere.
	var chol mat.Cholesky
	if !chol.Factorize(hess) {
		return at, errSingular
	}
	at.cov = mat.NewSymDense(hess.SymmetricDim(), nil)
	return at, chol.InverseTo(at.cov)
}

// move returns where a damped step leads.
func (f *fitting) move(at fitted, hess *mat.SymDense, grad *mat.VecDense, damp float64) (fitted, error) {
	n := hess.SymmetricDim()
	h := mat.NewSymDense(n, nil)
	h.CopySym(hess)
	for i := range n {
		h.SetSym(i, i, h.At(i, i)*(1+damp))
	}
	var chol mat.Cholesky
	if !chol.Factorize(h) {
		return at, errSingular
	}
	var step mat.VecDense
	if err := chol.SolveVecTo(&step, grad); err != nil {
		return at, err
	}
	next := fitted{strain: at.strain, lots: append([]vector(nil), at.lots...)}
	for i := range params {
		next.strain[i] -= step.AtVec(i)
	}
	for k := range f.recs {
		for j, d := range f.dims {
			next.lots[k][d] -= step.AtVec(params + k*len(f.dims) + j)
		}
	}
	next.cost = f.cost(next)
	return next, nil
}

// cost is twice the negative logarithm of the posterior, but for a constant.
func (f *fitting) cost(at fitted) float64 {
	var off mat.VecDense
	diff := mat.NewVecDense(params, nil)
	for i := range params {
		diff.SetVec(i, at.strain[i]-f.prior.Mean[i])
	}
	off.MulVec(f.precision, diff)
	sum := mat.Dot(diff, &off)
	for k, r := range f.recs {
		v := at.lot(k)
		_, f.buf = r.follow(&v, f.noise, f.buf[:0], nil)
		for _, z := range f.buf {
			sum += z * z
		}
		for _, d := range f.dims {
			z := at.lots[k][d] / f.own[d]
			sum += z * z
		}
	}
	return sum
}

func (at *fitted) lot(k int) vector {
	v := at.strain
	for i, d := range at.lots[k] {
		v[i] += d
	}
	return v
}

// gauss returns Gauss and Newton's matrix and half the gradient.
func (f *fitting) gauss(at fitted) (*mat.SymDense, *mat.VecDense) {
	m := len(f.dims)
	n := params + m*len(f.recs)
	hess, grad := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i := range params {
		for j := i; j < params; j++ {
			hess.SetSym(i, j, f.precision.At(i, j))
		}
		for j := range params {
			grad.SetVec(i, grad.AtVec(i)+f.precision.At(i, j)*(at.strain[j]-f.prior.Mean[j]))
		}
	}
	for k, r := range f.recs {
		v := at.lot(k)
		jtj, jtr := f.slopes(r, &v)
		where := make([]int, params) // of each parameter's difference
		for j, d := range f.dims {
			where[d] = params + k*m + j
			hess.SetSym(where[d], where[d], 1/(f.own[d]*f.own[d]))
			grad.SetVec(where[d], at.lots[k][d]/(f.own[d]*f.own[d]))
		}
		spreadOut(hess, grad, where, &jtj, &jtr)
	}
	return hess, grad
}

// spreadOut adds what one lot tells to the strain and to its own differences.
func spreadOut(hess *mat.SymDense, grad *mat.VecDense, where []int, jtj *[params][params]float64, jtr *vector) {
	for a := range params {
		grad.SetVec(a, grad.AtVec(a)+jtr[a])
		if where[a] != 0 {
			grad.SetVec(where[a], grad.AtVec(where[a])+jtr[a])
		}
		for b := range params {
			if b >= a {
				hess.SetSym(a, b, hess.At(a, b)+jtj[a][b])
			}
			if where[b] == 0 {
				continue
			}
			hess.SetSym(a, where[b], hess.At(a, where[b])+jtj[a][b])
			if where[a] != 0 && b >= a {
				hess.SetSym(where[a], where[b], hess.At(where[a], where[b])+jtj[a][b])
			}
		}
	}
}

// slopes returns the products of the derivatives of a record's innovations
// with each other and with the innovations.
func (f *fitting) slopes(r *Record, v *vector) (jtj [params][params]float64, jtr vector) {
	n := len(r.OD)
	_, base := r.follow(v, f.noise, make([]float64, 0, n), nil)
	var cols [params][]float64
	for p := range params {
		w := *v
		h := nudge * math.Sqrt(f.prior.Cov[p*params+p]+f.own[p]*f.own[p])
		w[p] += h
		_, cols[p] = r.follow(&w, f.noise, make([]float64, 0, n), nil)
		for i := range cols[p] {
			cols[p][i] = (cols[p][i] - base[i]) / h
		}
	}
	for a := range params {
		for i, z := range base {
			jtr[a] += cols[a][i] * z
		}
		for b := a; b < params; b++ {
			for i := range base {
				jtj[a][b] += cols[a][i] * cols[b][i]
			}
			jtj[b][a] = jtj[a][b]
		}
	}
	return jtj, jtr
}
