package growth

import "math"

// Logistic is growth without a lag towards a plateau:
//
//	N = K/(1 + (K/N0 - 1) exp(-mu t)),  y0 = ln N0, ymax = ln K
//	c = exp(y0 - ymax),  e = exp(-mu t)
//	w = (1 - c) e + c
//	ln N = y0 - ln w
//
// y0 ln N at t = 0; ymax ln N at the plateau; mu 1/d. The inflection of N lies
// at t = ln(K/N0 - 1)/mu, where N = K/2.
var Logistic = &Model{
	Name:       "logistic",
	Source:     "Verhulst 1838",
	Parameters: []Parameter{Start, Plateau, Mu},
	Potential:  true,
	Log: func(p, t, y, jac []float64) {
		y0, mu := p[0], p[2]
		c := exp(-math.Max(p[1]-p[0], 0))
		for i, ti := range t {
			y[i] = -mu * ti
		}
		expAll(y)
		for i, e := range y {
			w := (1-c)*e + c
			y[i] = w
			d := (1 - e) * c / w // by ymax
			jac[3*i] = 1 - d
			jac[3*i+1] = d
			jac[3*i+2] = (1 - c) * t[i] * e / w
		}
		logAll(y)
		for i, l := range y {
			y[i] = y0 - l
		}
	},
}
