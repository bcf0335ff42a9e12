package growth

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Function is what is fitted: its values and derivatives at all points.
type Function interface {
	// Evaluate writes the values at p to f, one a point, and the derivative of
	// value i by parameter j to jac[i*len(p)+j]. It must not keep the slices.
	// A value that is not finite says that p is out of reach.
	Evaluate(p, f, jac []float64)
}

// Problem is one least-squares problem.
type Problem struct {
	Function Function
	Y        []float64
	Sigma    []float64 // relative sizes of the errors of Y; nil where they are equal
	Low      []float64 // least allowed parameters; nil where there are none, -Inf allowed
	High     []float64 // greatest; likewise
	Fixed    []bool    // parameters held at their start; nil where none is
}

// Options say how to fit. The zero value is plain least squares.
type Options struct {
	Loss       Loss
	Tolerance  float64 // relative offset at which a fit has converged (Bates and Watts 1981); 0 means 1e-6
	Iterations int     // most iterations of a fit; 0 means 200
}

func (o Options) tolerance() float64 {
	if o.Tolerance > 0 {
		return o.Tolerance
	}
	return 1e-6
}

func (o Options) iterations() int {
	if o.Iterations > 0 {
		return o.Iterations
	}
	return 200
}

// Status is how a fit ended.
type Status int

// The ends of a fit.
const (
	Failed        Status = iota // there is no fit; Why says what is missing
	Stopped                     // stopped early: the best found, but not shown to be the best there is
	IllDetermined               // fitted, but the data hardly tell one parameter or more
	Converged
)

// String names the status for people.
func (s Status) String() string {
	switch s {
	case Converged:
		return "converged"
	case IllDetermined:
		return "ill-determined"
	case Stopped:
		return "stopped early"
	}
	return "failed"
}

// Result is what a fit came to. Where it Failed, P is NaN.
type Result struct {
	Status      Status
	Why         string        // the reason for a status other than Converged, a clause
	P           []float64     // parameters
	SE          []float64     // their standard errors; NaN for what is fixed, at a bound or not told by the data
	Covariance  *mat.SymDense // nil where there is none
	AtBound     []bool        // parameters that ended at Low or High
	RSS         float64       // sum of squares of (Y - f)/Sigma, without the loss's weights
	SD          float64       // residual standard deviation, of Y/Sigma; robust with a robust loss
	DF          int           // points less free parameters
	Weights     []float64     // of the robust loss, 0 to 1; nil for Squares
	Evaluations int
}

// check returns a clause that says what is wrong with the problem, "" where
// nothing is.
func (p Problem) check(start []float64) string {
	n, m := len(start), len(p.Y)
	switch {
	case n == 0:
		return "there is nothing to fit: no parameter"
	case p.Sigma != nil && len(p.Sigma) != m:
		return fmt.Sprintf("%d values and %d errors do not pair up", m, len(p.Sigma))
	case p.Low != nil && len(p.Low) != n || p.High != nil && len(p.High) != n || p.Fixed != nil && len(p.Fixed) != n:
		return fmt.Sprintf("bounds do not fit %d parameters", n)
	}
	for i, y := range p.Y {
		if !finite(y) {
			return fmt.Sprintf("value %d is %g", i+1, y)
		}
		if p.Sigma != nil && (!finite(p.Sigma[i]) || !(p.Sigma[i] > 0)) {
			return fmt.Sprintf("error %d is %g, it must be above zero", i+1, p.Sigma[i])
		}
	}
	free := 0
	for j, v := range start {
		if !finite(v) {
			return fmt.Sprintf("start of parameter %d is %g", j+1, v)
		}
		if low, high := p.bounds(j); !(low <= high) {
			return fmt.Sprintf("bounds %g and %g of parameter %d are the wrong way round", low, high, j+1)
		}
		if !p.fixed(j) {
			free++
		}
	}
	if m < free {
		return fmt.Sprintf("%d points are too few for %d parameters", m, free)
	}
	return ""
}

func (p Problem) bounds(j int) (low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	if p.Low != nil {
		low = p.Low[j]
	}
	if p.High != nil {
		high = p.High[j]
	}
	return low, high
}

func (p Problem) fixed(j int) bool { return p.Fixed != nil && p.Fixed[j] }
