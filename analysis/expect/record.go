package expect

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// Record is one lot, hour by hour from its inoculation.
type Record struct {
	Lot, Strain, Medium string
	VolumeL             float64
	Start               time.Time // of the first hour
	OD                  []float64 // median od above blank of each hour; NaN unknown
	Hours               []Hour    // as many as OD; all known but Vvm
	Noise               float64   // standard deviation of an hour's median od; 0: NoiseUsual
	Ready               float64   // od at which it is harvested; 0 unknown
	BlankError          float64   // standard error of the blank, od; 0: exactly known
}

// NoiseUsual is the standard deviation of an hour's median od where it was
// never seen: what a simple photodiode on a bubbling carboy shows (own
// judgement).
const NoiseUsual = 0.003

// noise is what is taken to disturb a record.
type noise struct {
	Share float64 // of the density, for an hour's median
	Drift float64 // of the log density about the law, for a day: it goes as the root of time
}

// usualNoise is a per cent of the density, and what clumping, handling and the
// law's own simplicity move in a day (own judgement).
var usualNoise = noise{Share: 0.01, Drift: 0.03}

// tail are the degrees of freedom of the t distribution that innovations are
// taken to have: bubbles and handling throw some far.
const tail = 4

const (
	stepLog   = 0.15 // an hour's change of log density that nothing grown makes
	stepSigma = 6
	// thin is how many standard deviations a density must stand out to count.
	thin = 3
)

// walk is where a record has been followed to.
type walk struct {
	level     analysis.Belief // of the log density
	known     bool
	condition Condition
}

// follow goes through a record under a law and appends its innovations,
// brought to unit variance and with far ones drawn in, one for each hour (0
// where nothing is known): a Kalman filter of the log density about the law.
// each, where not nil, sees the walk after every hour.
func (r *Record) follow(v *vector, n noise, out []float64, each func(i int, w *walk, rate float64, s limits)) (walk, []float64) {
	l := v.law(r.VolumeL)
	w := walk{condition: l.fresh()}
	sigma := r.Noise
	if sigma <= 0 {
		sigma = NoiseUsual
	}
	for i, od := range r.OD[:min(len(r.OD), len(r.Hours))] {
		x := sigma
		if w.known {
			x = math.Exp(w.level.Mean)
		} else if od > sigma {
			x = od
		}
		rate, left := l.grow(&w.condition, r.Hours[i], math.Min(x, most))
		out = append(out, w.hour(rate, od-v[pBlank], sigma, n))
		if each != nil {
			each(i, &w, rate, left)
		}
	}
	return w, out
}

func (w *walk) hour(rate, x, sigma float64, n noise) float64 {
	if w.known {
		w.level.Mean += rate * hourDays
		w.level = w.level.Drift(n.Drift * n.Drift * hourDays)
	}
	if !(x > thin*sigma) {
		return 0
	}
	seen := math.Log(x)
	error2 := sigma*sigma/(x*x) + n.Share*n.Share
	if !w.known {
		w.level, w.known = analysis.Belief{Mean: seen, Variance: error2}, true
		return 0
	}
	d := seen - w.level.Mean
	z := d / math.Sqrt(w.level.Variance+error2)
	if math.Abs(d) > stepLog && math.Abs(z) > stepSigma {
		w.level = analysis.Belief{Mean: seen, Variance: error2} // a draw, a refill, a knock
		return 0
	}
	w.level = w.level.See(seen, error2, analysis.Trust(z, tail))
	return math.Copysign(math.Sqrt(tail*math.Log1p(z*z/tail)), z)
}
