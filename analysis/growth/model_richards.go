package growth

import "math"

// Richards is the modified Richards model, of which v = 1 is the modified
// logistic and v -> 0 the modified Gompertz:
//
//	A = ymax - y0,  b = (1 + v)^(1 + 1/v)
//	z = (1 + v) + mu b (lag - t)/A
//	s = v exp(z)
//	g = (1 + s)^(-1/v)
//	ln N = y0 + A g
//
// Parameters as in Gompertz, and the shape v > 0. At the inflection
// ln N = y0 + A (1 + v)^(-1/v).
var Richards = &Model{
	Name:       "modified Richards",
	Source:     zwieteringSource,
	Parameters: []Parameter{Start, Plateau, Mu, Lag, Shape},
	Log: func(p, t, y, jac []float64) {
		a, y0, mu, lag, v := rise(p), p[0], p[2], p[3], p[4]
		l1 := math.Log1p(v)
		b := math.Exp((1 + 1/v) * l1)
		byMu, byLag := b/a, mu*b/a
		byV := 1/v - l1/(v*v) // d ln b/dv
		for i, ti := range t {
			z := 1 + v + byLag*(lag-ti)
			s := v * exp(z)
			l := math.Log1p(s)
			g := math.Exp(-l / v)
			y[i] = y0 + a*g
			q := s / (1 + s)
			h := g * q / v // -dg/dz
			dA := g + h*(z-1-v)
			row := jac[5*i : 5*i+5 : 5*i+5]
			row[0] = 1 - dA
			row[1] = dA
			row[2] = -a * h * byMu * (lag - ti)
			row[3] = -a * h * byLag
			row[4] = a * (g*(l-q)/(v*v) - h*(1+(z-1-v)*byV))
		}
	},
}
