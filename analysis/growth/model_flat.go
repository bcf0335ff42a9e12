package growth

// Flat is no growth at all, the model that every other has to beat:
//
//	ln N = y0
var Flat = &Model{
	Name:       "flat",
	Source:     "no growth",
	Parameters: []Parameter{Start},
	Log: func(p, t, y, jac []float64) {
		for i := range t {
			y[i], jac[i] = p[0], 1
		}
	},
}
