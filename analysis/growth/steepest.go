package growth

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// steepestPlaces is in how many places the steepest slope is looked for first.
const steepestPlaces = 200

// Steepest returns the steepest slope of ln N while the curve was watched, 1/d,
// and its standard error, which is the number that can be held against that of
// other models. In a model whose mu is a potential rate it is worked out from
// the curve, in the others it is mu. NaN where it is not known or the model has no rate.
func (f *Fitted) Steepest() (slope, se float64) {
	i := f.Model.Index(Mu)
	switch {
	case i < 0 || f.Status == Failed:
		return math.NaN(), math.NaN()
	case !f.Model.Potential || f.Model == Exponential:
		return f.P[i], f.SE[i]
	}
	h := f.watched / steepestPlaces
	best := math.Inf(-1)
	var gradient []float64
	for k := range steepestPlaces {
		t := (float64(k) + 0.5) * h
		if v, g := f.slope(t, h/2); v > best {
			best, gradient = v, g
		}
	}
	if f.Covariance == nil {
		return best, math.NaN()
	}
	g := mat.NewVecDense(len(gradient), gradient)
	return best, math.Sqrt(math.Max(mat.Inner(g, f.Covariance, g), 0))
}

// slope is the mean slope of ln N between t - h and t + h and its derivatives by
// the parameters. Where the slope is greatest, moving t changes nothing.
func (f *Fitted) slope(t, h float64) (v float64, gradient []float64) {
	b, gb := f.Model.At(f.P, t+h)
	a, ga := f.Model.At(f.P, t-h)
	for j := range gb {
		gb[j] = (gb[j] - ga[j]) / (2 * h)
	}
	return (b - a) / (2 * h), gb
}
