package simulate

import "math"

// ctmi is the factor, 0 to 1, by which temperature t slows growth: the
// cardinal temperature model with inflection of Rosso, Lobry & Flandrois 1993,
// J. Theor. Biol. 162:447-463, as used for microalgae by Bernard & Remond 2012:
//
//	(t-max)(t-min)^2 / {(opt-min)[(opt-min)(t-opt) - (opt-max)(opt+min-2t)]}
//
// between min and max, else 0. It needs opt > (min+max)/2.
func ctmi(t, lowest, opt, highest float64) float64 {
	if t <= lowest || t >= highest {
		return 0
	}
	a := opt - lowest
	return (t - highest) * (t - lowest) * (t - lowest) / (a * (a*(t-opt) - (opt-highest)*(opt+lowest-2*t)))
}

// Respiration at 20 degC and its Q10: Kooi et al. 2017, supplementary table,
// 0.1 1/d and 2. Night losses of cultures were 0.006 to 0.59 1/d (Edmundson &
// Huesemann 2015, Algal Res. 12:470-476).
const (
	respiration20 = 0.1
	respirationQ  = 2
)

// respiration returns the loss of biomass to respiration at t degC, 1/d.
func respiration(t float64) float64 {
	return respiration20 * math.Pow(respirationQ, (t-20)/10)
}
