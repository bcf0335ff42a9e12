package expect

import (
	"fmt"
	"math"
	"time"
)

// Step is one hour of a lot's course so far.
type Step struct {
	At       time.Time // middle of the hour
	OD       float64   // measured, od above blank; NaN unknown
	Expected float64   // od, by the hour before and the lot's law; NaN before a first density
	Rate     float64   // expected net specific growth rate, 1/d
	// Surprise is how far the measured lies from the expected, in standard
	// deviations, far ones drawn in; 0 where nothing was measured. While a law
	// holds, surprises are independent, with unit variance.
	Surprise float64
	Limits   Limits
}

// Limits are the shares, 0 to 1, that each thing leaves of growth; 1 is all.
type Limits struct {
	Light, Temperature, Lag, Nitrogen, Carbon float64
}

// Course goes through a record by the law held of the lot: what was to be
// expected of each hour, and how what was measured lies beside it. The law was
// tightened by the same record; for a judgement of the newest hours, tighten by
// a record that ends before them and go on with [Lot.Go].
func (l *Lot) Course() []Step { return l.Go(l.Record) }

// Go goes through another record of the same lot, from its start, by the law
// held of this one.
func (l *Lot) Go(r *Record) []Step {
	out := make([]Step, 0, len(r.OD))
	before := math.NaN()
	_, far := r.follow(&l.Mean, l.noise, nil, func(i int, w *walk, rate float64, s limits) {
		out = append(out, Step{At: r.Start.Add(time.Duration(i)*time.Hour + 30*time.Minute), OD: r.OD[i],
			Expected: math.Exp(before + rate*hourDays), Rate: rate, Limits: s.out()})
		before = math.NaN()
		if w.known {
			before = w.level.Mean
		}
	})
	for i := range out {
		out[i].Surprise = far[i]
	}
	return out
}

func (s limits) out() Limits {
	return Limits{Light: s.light, Temperature: s.warm, Lag: s.lag, Nitrogen: s.nitrogen, Carbon: s.carbon}
}

// Limit is what holds a lot back most, with its arithmetic.
type Limit struct {
	Name  string  // light, temperature, lag, nitrogen or carbon
	Share float64 // of growth that it leaves, 0 to 1
	Sum   string  // the arithmetic, for people
}

// Limit returns what held the lot back most over the last day of its record,
// in its light; ok is false without a lit hour.
func (l *Lot) Limit() (Limit, bool) {
	steps := l.Course()
	var sum Limits
	var par, vvm, temp, n float64
	for i := max(0, len(steps)-24); i < len(steps); i++ {
		h := l.Record.Hours[i]
		if h.Par < 1 {
			continue
		}
		s := steps[i].Limits
		sum.Light, sum.Temperature, sum.Lag = sum.Light+s.Light, sum.Temperature+s.Temperature, sum.Lag+s.Lag
		sum.Nitrogen, sum.Carbon = sum.Nitrogen+s.Nitrogen, sum.Carbon+s.Carbon
		par, vvm, temp, n = par+h.Par, vvm+h.Vvm, temp+h.TempC, n+1
	}
	if n == 0 || !l.now.known {
		return Limit{}, false
	}
	x, law := l.Level(), l.Mean.law(l.Record.VolumeL)
	out := Limit{Share: 2}
	for _, c := range []Limit{
		{"light", sum.Light / n, law.lightSum(par/n, x)},
		{"temperature", sum.Temperature / n, fmt.Sprintf("%.1f degC, best at %.0f", temp/n, law.warm)},
		{"lag", sum.Lag / n, "not yet settled in"},
		{"nitrogen", sum.Nitrogen / n, NitrogenSum(law.weight * x)},
		{"carbon", sum.Carbon / n, CarbonSum(vvm/n, law.weight*x)},
	} {
		if c.Share < out.Share {
			out = c
		}
	}
	return out, true
}

func (l *law) lightSum(par, x float64) string {
	k := waterShade + l.shade*x
	return fmt.Sprintf("%.0f umol at the wall are %.0f on average over %.2f m of culture that takes %.1f/m", par, MeanLight(par, k, l.path), l.path, k)
}

// NitrogenMost is the dry weight, g/L, that the nitrogen of f/2 carries at
// most: 12.36 mg/L at three per cent of dry weight.
const NitrogenMost = nitrogenF2 / quotaMin

// NitrogenSum is the arithmetic of the nitrogen dosed as f/2 beside a dry
// weight in g/L.
func NitrogenSum(dry float64) string {
	return fmt.Sprintf("f/2 holds %.2f mg N/L, enough for %.2f g/L dry weight at %.0f %%; there are about %.2f", 1000*nitrogenF2, NitrogenMost, 100*quotaMin, dry)
}

// CarbonBrought is the carbon that plain air brings, mmol/L a day, all of it
// captured, at vvm litres of air a minute for each litre.
func CarbonBrought(vvm float64) float64 { return vvm * 1440 * carbonAir }

// CarbonSum is the arithmetic of the carbon in the air beside a dry weight in
// g/L.
func CarbonSum(vvm, dry float64) string {
	brought := CarbonBrought(vvm)
	return fmt.Sprintf("%.2f L of air a minute for each litre bring %.1f mmol/L of carbon a day, %.1f if half dissolves; that pays for %.2f/d at %.2f g/L",
		vvm, brought, brought*carbonIn, brought*carbonIn/carbonPerG/dry, dry)
}
