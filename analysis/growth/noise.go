package growth

import (
	"math"
	"slices"
)

// Noise is the error of a sensor that is constant in a thin culture and in
// proportion in a dense one:
//
//	sigma = sqrt(floor^2 + (relative N)^2)
type Noise struct {
	Floor    float64 // standard deviation in a thin culture, in the unit of the values
	Relative float64 // standard deviation over density in a dense one
}

// At returns sigma at each density.
func (n Noise) At(densities []float64) []float64 {
	sigma := make([]float64, len(densities))
	for i, v := range densities {
		sigma[i] = math.Hypot(n.Floor, n.Relative*v)
	}
	return sigma
}

// Where the two parts of the noise may cross, as parts of the greatest
// density, and in how many steps that is looked through. A floor of nothing
// would give a value near zero all the weight there is.
const (
	leastCrossing = 1e-3
	mostCrossing  = 10
	crossings     = 33
)

// noiseOf finds the noise that residuals r about fitted densities f speak for,
// by restricted pseudo-likelihood (Carroll and Ruppert 1988, Transformation and
// Weighting in Regression, chapter 3): with h the leverage of each point,
//
//	sum (1 - h) ln sigma^2 + r^2/sigma^2 = least
//
// Leverages make up for residuals that are small because the curve was drawn
// through their points. All is zero where the residuals are.
func noiseOf(f, r, h []float64) Noise {
	top := slices.Max(f)
	best, least := Noise{}, math.Inf(1)
	for k := range crossings + 1 {
		shape := Noise{Floor: 1} // constant
		if k > 0 {
			at := float64(k-1) / (crossings - 1)
			shape = Noise{Floor: leastCrossing * top * math.Pow(mostCrossing/leastCrossing, at), Relative: 1}
		}
		logs, squares, df := 0.0, 0.0, 0.0
		for i := range f {
			v := shape.Floor*shape.Floor + shape.Relative*shape.Relative*f[i]*f[i]
			logs += (1 - h[i]) * math.Log(v)
			squares += r[i] * r[i] / v
			df += 1 - h[i]
		}
		s2 := squares / df
		if cost := logs + df*math.Log(s2); cost < least {
			s := math.Sqrt(s2)
			best, least = Noise{shape.Floor * s, shape.Relative * s}, cost
		}
	}
	return best
}

// roughNoise is a first guess before anything is fitted, from each value
// against the line between its neighbours (Gasser, Sroka and Jennen-Steinmetz
// 1986, Biometrika 73:625-633). Where the curve bends between points it takes
// the bend for noise.
func roughNoise(t, y []float64) (Noise, []float64) {
	near := nearby(y)
	var f, r []float64
	for i := 1; i+1 < len(y); i++ {
		if span := t[i+1] - t[i-1]; span > 0 {
			a := (t[i+1] - t[i]) / span
			f = append(f, near[i])
			r = append(r, (y[i]-a*y[i-1]-(1-a)*y[i+1])/math.Sqrt(1+a*a+(1-a)*(1-a)))
		}
	}
	if len(f) < 3 {
		return Noise{}, near
	}
	return noiseOf(f, r, make([]float64, len(f))), near
}

// nearby is the median of each value and its two neighbours to either side, at
// least zero: a value's own error must not choose its own weight.
func nearby(values []float64) []float64 {
	out := make([]float64, len(values))
	var buf [5]float64
	for i := range values {
		near := buf[:copy(buf[:], values[max(i-2, 0):min(i+3, len(values))])]
		slices.Sort(near)
		out[i] = math.Max(middle(near), 0)
	}
	return out
}
