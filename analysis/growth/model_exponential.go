package growth

// Exponential is growth, or loss, at one pace:
//
//	ln N = y0 + mu t
//
// y0 ln N at t = 0; mu 1/d, below zero in a dying culture.
var Exponential = &Model{
	Name:       "exponential",
	Source:     "Malthus 1798; FAO Fisheries Technical Paper 361 (1996), section 2.3",
	Parameters: []Parameter{Start, Mu},
	Potential:  true,
	Log: func(p, t, y, jac []float64) {
		y0, mu := p[0], p[1]
		for i, ti := range t {
			y[i] = y0 + mu*ti
			jac[2*i], jac[2*i+1] = 1, ti
		}
	},
}
