package expect

import "math"

// The parameters of a law, in the order in which a Law keeps them. All but the
// last are natural logarithms or plain sums, so that errors about them are
// taken to be normal.
const (
	pGrowth = iota // ln of gross growth at the best temperature, in full light, 1/d
	pLight         // ln of the light at which growth would be full if it went on as it begins, umol photons m-2 s-1
	pBest          // ln of the light that is best, umol photons m-2 s-1
	pShade         // ln of attenuation, 1/m for each od
	pSpend         // ln of respiration at 20 degC, 1/d
	pWarm          // the best temperature, degC
	pWeight        // ln of dry weight, g/L for each od
	pLag           // ln of growth rate times lag
	pBleach        // ln of what twice the best light costs cells not yet settled in, 1/d
	pBlank         // error of the blank, od
	params
)

// vector is one value for each parameter.
type vector [params]float64

const (
	waterShade = 0.2 // 1/m, clear seawater (from memory)
	// slim is height over width of a carboy, from which its path is taken.
	slim = 1.3
	// coldFrom and warmTo are how far the ends of growth lie from the best
	// temperature, K: those of Nannochloropsis oceanica, 0.2 and 33.3 about 26.7
	// degC (Kooi and others 2017, table S1, after Bernard and Remond 2012).
	coldFrom, warmTo = 26.5, 6.6
	// Nitrogen of f/2, g/L (Guillard 1975, 8.82e-4 mol/L), and the least and
	// full share of it in dry weight: the middle of 2 to 4 and of 6 to 10 per
	// cent (from memory).
	nitrogenF2          = 12.36e-3
	quotaMin, quotaFull = 0.03, 0.08
	// Carbon: 1 mmol/L of seawater's 2 can be had (from memory); plain air at
	// 420 ppm and 20 degC carries 0.01746 mmol in a litre; half of it dissolves
	// where the water has none left (own judgement; what it is in truth goes
	// into the learnt weight); dry weight is half carbon.
	carbonHad  = 1.0
	carbonAir  = 0.01746
	carbonIn   = 0.5
	carbonPerG = 500. / 12
	carbonHalf = 0.1 // mmol/L that halves growth (own judgement)
	hourDays   = 1. / 24
)

// Path returns the mean way of light through a vessel of that many litres, m.
func Path(litres float64) float64 {
	return math.Cbrt(litres / 1000 * 4 / (math.Pi * slim))
}

// MeanLight returns the mean light over a path in m whose attenuation is k in
// 1/m (Beer-Lambert): par (1 - exp(-kL))/(kL), in the unit of par.
func MeanLight(par, k, path float64) float64 {
	x := k * path
	if x < 1e-9 {
		return par
	}
	return par * -math.Expm1(-x) / x
}

// Response returns the light response with inhibition, from 0 to 1 at the light
// that is best: I/(I + ik (I/best - 1)^2), ik being the greatest growth over the
// slope in weak light (Bernard and Remond 2012, Bioresour. Technol.
// 123:520-527, equation 3). All in one unit.
func Response(light, ik, best float64) float64 {
	if light <= 0 {
		return 0
	}
	d := light/best - 1
	return light / (light + ik*d*d)
}

// Cardinal returns the temperature response with inflection, from 0 to 1 at
// opt (Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162:447-463); all in
// degC, with opt nearer to most than to least.
func Cardinal(t, least, opt, most float64) float64 {
	if t <= least || t >= most {
		return 0
	}
	return (t - most) * (t - least) * (t - least) /
		((opt - least) * ((opt-least)*(t-opt) - (opt-most)*(opt+least-2*t)))
}

// Hour is what surrounded a lot for one hour.
type Hour struct {
	Par   float64 // mean light at the wall, umol photons m-2 s-1
	TempC float64
	Vvm   float64 // litres of plain air a minute for each litre; NaN unknown: never short
}

// law is a vector made ready for stepping.
type law struct {
	growth, ik, best, shade, spend, warm, weight, bleach float64
	ready                                                float64 // of a fresh lot, see step
	path                                                 float64
	at, spends                                           float64 // respiration, 1/d, at the newest temperature
}

const (
	usualTemp    = 20   // degC, where none is known: feed species are grown at 18 to 24 (FAO 361)
	leastCeiling = 0.81 // 1/d, Ceiling at 0 degC
	settledIn    = 1e6  // no lag is left
)

func (v *vector) law(litres float64) law {
	return law{
		growth: math.Exp(v[pGrowth]), ik: math.Exp(v[pLight]), best: math.Exp(v[pBest]), shade: math.Exp(v[pShade]), spend: math.Exp(v[pSpend]),
		warm: v[pWarm], weight: math.Exp(v[pWeight]), bleach: math.Exp(v[pBleach]),
		ready: 1 / math.Expm1(math.Min(math.Exp(v[pLag]), 50)), path: Path(litres), at: math.NaN(),
	}
}

// Condition is what a lot carries from hour to hour beside its density.
type Condition struct {
	Ready  float64 // state of adjustment after Baranyi and Roberts 1994
	Carbon float64 // that can be had, mmol/L
}

func (l *law) fresh() Condition { return Condition{Ready: l.ready, Carbon: carbonHad} }

// limits are the shares, 0 to 1, that each thing leaves of growth.
type limits struct {
	light, warm, lag, nitrogen, carbon float64
}

// step lets an hour pass over a lot of density x in od and returns its net
// specific growth rate, 1/d.
func (l *law) step(c *Condition, h Hour, x float64) float64 {
	rate, _ := l.grow(c, h, x)
	return rate
}

func (l *law) grow(c *Condition, h Hour, x float64) (float64, limits) {
	if !(h.Par >= 0) { // not known, or a sensor below its dark
		h.Par = 0
	}
	if math.IsNaN(h.TempC) {
		h.TempC = usualTemp
	}
	light := MeanLight(h.Par, waterShade+l.shade*x, l.path)
	s := limits{light: Response(light, l.ik, l.best), warm: Cardinal(h.TempC, l.warm-coldFrom, l.warm, l.warm+warmTo), carbon: 1}
	best := l.growth * s.warm
	if best > leastCeiling { // the envelope of anything that grows is above that
		best = math.Min(best, Ceiling(math.Max(h.TempC, 0)))
	}
	s.lag = c.Ready / (1 + c.Ready)
	if c.Ready < settledIn {
		c.Ready *= expSmall(best * hourDays)
	}
	s.nitrogen = math.Min(1, math.Max(0, (1-quotaMin*l.weight*x/nitrogenF2)/(1-quotaMin/quotaFull)))
	if h.TempC != l.at {
		l.at, l.spends = h.TempC, l.spend*math.Exp2((h.TempC-20)/10) // Q10 of 2 (Kooi and others 2017)
	}
	spends := l.spends
	grows := best * s.light * s.lag * s.nitrogen
	if h.Vvm >= 0 {
		s.carbon = l.breathe(c, h.Vvm, grows*l.weight*x*carbonPerG, spends*l.weight*x*carbonPerG)
	}
	return grows*s.carbon - spends - l.bleach*(1-s.lag)*math.Max(0, light/l.best-1), s
}

// expSmall is the exponential of what grows in an hour, to eight digits below a
// tenth: five terms of its series.
func expSmall(x float64) float64 {
	return 1 + x*(1+x/2*(1+x/3*(1+x/4*(1+x/5))))
}

// breathe brings the carbon to the end of the hour and returns the share of
// growth that it allows: a step backward in time, which is a quadratic, so
// that a small store does not swing. Wants and gives are mmol/L a day.
func (l *law) breathe(c *Condition, vvm, wants, gives float64) float64 {
	brings := vvm * 1440 * carbonAir * carbonIn / carbonHad
	a := 1 + hourDays*brings
	e := c.Carbon + hourDays*(brings*carbonHad+gives)
	b := a*carbonHalf - e + hourDays*wants
	c.Carbon = math.Min((-b+math.Sqrt(b*b+4*a*e*carbonHalf))/(2*a), 2*carbonHad)
	return c.Carbon / (c.Carbon + carbonHalf)
}
