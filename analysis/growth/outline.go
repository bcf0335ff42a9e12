package growth

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// mostBins bounds the medians an outline is made from.
const mostBins = 48

// outline is the rough shape of a curve in ln N, found from the data alone:
// where a fit starts, and what it may not leave.
type outline struct {
	low, high float64 // ln N at the bottom and at the top
	first     float64 // ln N at t = 0
	slope     float64 // steepest slope, 1/d
	lag       float64 // where that slope's tangent crosses low, d
	overall   float64 // slope of a line through it all, 1/d
	span      float64 // d
	fastest   float64 // bound of any rate, 1/d
	empty     bool    // no value above zero, or no time passed
}

// outlineOf works on medians of neighbouring points, so that a bubble or two
// do not lead it astray.
func outlineOf(t, y []float64, scale Scale) outline {
	if len(t) < 2 || !(t[len(t)-1] > t[0]) {
		return outline{empty: true}
	}
	bt, by := medians(t, y)
	if scale == Natural && !toLogs(by) {
		return outline{empty: true}
	}
	o := outline{span: t[len(t)-1] - t[0], first: by[0]}
	o.low, o.high = slices.Min(by), slices.Max(by)
	_, o.overall = stat.LinearRegression(bt, by, nil, false)
	if !finite(o.overall) {
		return outline{empty: true}
	}
	o.steepest(bt, by)
	o.fastest = 20 * (o.high - o.low + 1) * float64(len(bt)) / o.span
	return o
}

// medians returns the median time and value of up to mostBins runs of points.
func medians(t, y []float64) (bt, by []float64) {
	n := len(t)
	bins := min(n, mostBins)
	for b := range bins {
		from, to := b*n/bins, (b+1)*n/bins
		bt, by = append(bt, median(t[from:to])), append(by, median(y[from:to]))
	}
	return bt, by
}

// toLogs takes logarithms in place, of values below a floor that of the floor:
// a thousandth of the greatest, or as far above zero as others lie below. False
// where none is above zero.
func toLogs(v []float64) bool {
	top := slices.Max(v)
	if !(top > 0) {
		return false
	}
	floor := math.Log(math.Max(top/1000, -slices.Min(v)))
	for i := range v {
		v[i] = math.Max(math.Log(math.Max(v[i], 0)), floor)
	}
	return true
}

// steepest slides a window over the outline and keeps the steepest line in it.
func (o *outline) steepest(t, y []float64) {
	w := min(max(len(t)/6, 3), len(t))
	at, level := t[0], y[0]
	for i := 0; i+w <= len(t); i++ {
		a, b := stat.LinearRegression(t[i:i+w], y[i:i+w], nil, false)
		if finite(b) && b > o.slope {
			o.slope = b
			at = stat.Mean(t[i:i+w], nil)
			level = a + b*at
		}
	}
	if !(o.slope > 0) {
		o.slope = 1e-3 / o.span
	}
	o.lag = math.Max(0, math.Min(at-(level-o.low)/o.slope, 0.9*o.span))
}

// farPlateau is how far beyond the data start and plateau are looked for, in
// ln N: a factor of a thousand.
const farPlateau = 7

// start gives the parameters of a model where a fit may begin, with the steep
// slope taken times pace.
func (o outline) start(m *Model, pace float64) []float64 {
	p := make([]float64, len(m.Parameters))
	mu := math.Min(o.slope*pace, o.fastest)
	for i, q := range m.Parameters {
		switch q {
		case Start:
			p[i] = o.low
		case Plateau:
			p[i] = o.high
		case Mu:
			p[i] = mu
		case Lag:
			// The tangent turns about its middle when it is made steeper.
			half := (o.high - o.low) / 2 / o.slope
			p[i] = math.Max(0, o.lag+half-half/pace)
		case Shape:
			p[i] = 0.5
		}
	}
	switch m {
	case Flat:
		p[0] = o.middle()
	case Exponential:
		p[0], p[1] = o.first, o.overall
	case Logistic:
		p[0] = math.Min(o.first, o.middle())
	}
	return p
}

// middle is ln N half-way between bottom and top, in N: half-way in ln N would
// depend on a bottom that, near zero, is all noise.
func (o outline) middle() float64 {
	return o.high + math.Log((1+math.Exp(o.low-o.high))/2)
}

// bounds gives what a fit of the model may not leave. Start lies below the
// middle and plateau above, so that start, plateau and mu keep their meaning.
func (o outline) bounds(m *Model) (low, high []float64) {
	middle := o.middle()
	for _, q := range m.Parameters {
		var l, h float64
		switch q {
		case Start:
			l, h = o.low-farPlateau, middle
		case Plateau:
			l, h = middle, o.high+farPlateau
		case Mu:
			l, h = 0, o.fastest
		case Lag:
			l, h = -o.span, o.span
		case Shape:
			l, h = 0.01, 20
		}
		switch {
		case q == Start && (m == Flat || m == Exponential):
			h = o.high + farPlateau
		case q == Start && m == Logistic:
			h = o.high // it has no lag: what is sown past half of the plateau is past half of the curve
		case q == Mu && m == Exponential:
			l = -o.fastest
		case q == Lag && m == Baranyi:
			l = 0
		}
		low, high = append(low, l), append(high, h)
	}
	return low, high
}
