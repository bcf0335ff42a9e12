package growth

import (
	"cmp"
	"math"
	"slices"
)

// Curve is the densities of one culture over time.
type Curve struct {
	Days   []float64 // time of each value
	Values []float64
	Sigma  []float64 // relative sizes of the values' errors, in their unit; nil where unknown
}

// Scale is what is held against what in a fit.
type Scale int

// The scales.
const (
	Logarithm Scale = iota // ln N: errors in proportion to N; values at or below zero are left out
	Natural                // N itself: errors as in Sigma, equal without
)

// points is a curve made ready: finite, in order of time, which counts from
// origin, and on its scale.
type points struct {
	t, y, sigma []float64
	scale       Scale
	origin      float64
	left        int // points left out
	outline
}

// ready sorts a curve and leaves out what the scale has no use for.
func ready(c Curve, scale Scale) points {
	type point struct{ t, y, s float64 }
	all := make([]point, 0, len(c.Days))
	for i := range min(len(c.Days), len(c.Values)) {
		p := point{c.Days[i], c.Values[i], 1}
		if c.Sigma != nil && i < len(c.Sigma) {
			p.s = c.Sigma[i]
		}
		if scale == Logarithm && c.Sigma != nil {
			p.s /= p.y
		}
		if scale == Logarithm {
			p.y = math.Log(p.y)
		}
		if finite(p.t) && finite(p.y) && finite(p.s) && p.s > 0 {
			all = append(all, p)
		}
	}
	slices.SortStableFunc(all, func(a, b point) int { return cmp.Compare(a.t, b.t) })
	r := points{scale: scale, left: max(len(c.Days), len(c.Values)) - len(all)}
	for _, p := range all {
		r.t, r.y = append(r.t, p.t-all[0].t), append(r.y, p.y)
		if c.Sigma != nil {
			r.sigma = append(r.sigma, p.s)
		}
	}
	if len(all) > 0 {
		r.origin = all[0].t
	}
	r.outline = outlineOf(r.t, r.y, scale)
	return r
}

// onCurve is a model at the times of a curve.
type onCurve struct {
	model *Model
	t     []float64
	scale Scale
}

// On returns the model as a function at the times t, for Fit.
func (m *Model) On(t []float64, scale Scale) Function { return onCurve{m, t, scale} }

// Evaluate implements Function.
func (c onCurve) Evaluate(p, f, jac []float64) { c.block(p, 0, len(c.t), f, jac) }

// block implements blockwise.
func (c onCurve) block(p []float64, from, to int, f, jac []float64) {
	c.model.Log(p, c.t[from:to], f, jac)
	if c.scale == Logarithm {
		return
	}
	n := len(p)
	expAll(f)
	for i, v := range f {
		row := jac[i*n : i*n+n]
		for j := range row {
			row[j] *= v
		}
	}
}
