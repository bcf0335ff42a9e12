package growth

// ModifiedLogistic is the logistic curve in ln N, with a lag:
//
//	A = ymax - y0
//	z = 4 mu (lag - t)/A + 2
//	g = 1/(1 + exp(z))
//	ln N = y0 + A g
//
// Parameters as in Gompertz. The inflection lies at t = lag + A/(2 mu), where
// ln N = y0 + A/2.
var ModifiedLogistic = &Model{
	Name:       "modified logistic",
	Source:     zwieteringSource,
	Parameters: zwietering,
	Log: func(p, t, y, jac []float64) {
		a, y0, mu, lag := rise(p), p[0], p[2], p[3]
		byMu, byLag := 4/a, 4*mu/a
		for i, ti := range t {
			y[i] = byLag*(lag-ti) + 2
		}
		expAll(y)
		for i, e := range y {
			d := lag - t[i]
			g := 1 / (1 + e)
			y[i] = y0 + a*g
			h := g * (1 - g)
			dA := g + h*byLag*d
			row := jac[4*i : 4*i+4 : 4*i+4]
			row[0] = 1 - dA
			row[1] = dA
			row[2] = -a * h * byMu * d
			row[3] = -a * h * byLag
		}
	},
}
