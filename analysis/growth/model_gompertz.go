package growth

import "math"

// Gompertz is the modified Gompertz model:
//
//	A = ymax - y0
//	z = mu e (lag - t)/A + 1,  e = exp(1)
//	s = exp(z),  g = exp(-s)
//	ln N = y0 + A g
//
// y0 ln N long before growth; ymax at the plateau; mu the steepest slope, 1/d;
// lag where the tangent at the inflection crosses y0, d. The inflection lies
// at t = lag + A/(mu e), where ln N = y0 + A/e.
var Gompertz = &Model{
	Name:       "modified Gompertz",
	Source:     zwieteringSource,
	Parameters: zwietering,
	Log: func(p, t, y, jac []float64) {
		a, y0, mu, lag := rise(p), p[0], p[2], p[3]
		byLag, muE := mu*math.E/a, mu*math.E
		for i, ti := range t {
			y[i] = byLag*(lag-ti) + 1
		}
		expAll(y)
		for i, s := range y {
			jac[4*i] = s
			y[i] = -s
		}
		expAll(y)
		for i, g := range y {
			row := jac[4*i : 4*i+4 : 4*i+4]
			d := lag - t[i]
			y[i] = y0 + a*g
			h := g * row[0] // nothing where s is huge, for then g is
			dA := g + h*byLag*d
			row[0] = 1 - dA
			row[1] = dA
			row[2] = -h * math.E * d
			row[3] = -h * muE
		}
	},
}
