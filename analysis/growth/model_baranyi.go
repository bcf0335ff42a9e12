package growth

import "math"

// Baranyi is the model of Baranyi and Roberts:
//
//	ln N = y0 + mu F - ln(1 + (exp(mu F) - 1)/exp(ymax - y0))
//	F = t + ln(exp(-mu t) + exp(-h0) - exp(-mu t - h0))/mu,  h0 = mu lag
//
// taken together so that one exponential and one logarithm serve a point and
// nothing overflows:
//
//	c = exp(y0 - ymax),  q = exp(-h0),  e = exp(-mu t)
//	u = q + (1 - q) e
//	w = (1 - c) e + c u
//	ln N = y0 + ln(u/w)
//
// y0 ln N at t = 0; ymax at the plateau; mu the potential rate, 1/d, not the
// steepest slope seen, which is less where ymax - y0 is small; lag d.
var Baranyi = &Model{
	Name:       "Baranyi-Roberts",
	Source:     "Baranyi and Roberts 1994, Int. J. Food Microbiol. 23:277-294",
	Parameters: zwietering,
	Potential:  true,
	Log: func(p, t, y, jac []float64) {
		y0, mu, lag := p[0], p[2], p[3]
		c := exp(-math.Max(p[1]-p[0], 0))
		q := exp(-mu * lag)
		for i, ti := range t {
			y[i] = -mu * ti
		}
		expAll(y)
		for i, e := range y {
			u := q + (1-q)*e
			w := (1-c)*e + c*u
			iu, iw := 1/u, 1/w
			y[i] = u * iw
			byQ := (1 - e) * (iu - c*iw)
			byE := (1-q)*iu - (1-c*q)*iw
			d := (u - e) * c * iw // by ymax
			row := jac[4*i : 4*i+4 : 4*i+4]
			row[0] = 1 - d
			row[1] = d
			row[2] = -byE*t[i]*e - byQ*lag*q
			row[3] = -byQ * mu * q
		}
		logAll(y)
		for i := range y {
			y[i] += y0
		}
	},
}
