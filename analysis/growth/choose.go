package growth

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/nightshelf/nightshelf/analysis"
)

const (
	// alike is the difference of AICc within which data do not tell models
	// apart (Burnham and Anderson 2002, Model Selection and Multimodel
	// Inference, section 2.6).
	alike = 2
	// chance is the probability, by the F test against no growth, that a curve
	// must stay below to be given a growth rate. It is small because the time
	// and the shape of the rise are sought in the same data, which the test
	// does not know.
	chance = 1e-5
)

// Course is what the curve does, taken as a whole.
type Course string

// The courses.
const (
	Unclear Course = "unclear" // too little to tell
	Level   Course = "level"   // neither growing nor dying as far as the data tell
	Grows   Course = "growing"
	Dies    Course = "dying"
)

// Verdict is what comes of trying every model on a curve.
type Verdict struct {
	Course Course
	Status Status // of the chosen fit
	Why    string // what is wrong or missing, a clause; "" where nothing is
	Fits   []Fitted
	Chosen int // index into Fits, -1 where no model could be fitted
	// Alike lists the other fits that the data do not tell from the chosen one.
	Alike []int
	// Mu, Lag and Plateau are those of the chosen fit, all NaN unless the
	// course is growing or dying. The lag is a time of the curve, d; the
	// plateau a density, in the unit of the values.
	Mu, Lag, Plateau analysis.Interval
}

// Choose fits every model to a curve and takes the one with the least AICc. It
// always returns, and always with a status. Fits come best first.
func Choose(c Curve, s Setting) Verdict {
	d := ready(c, s.Scale)
	v := Verdict{Course: Unclear, Chosen: -1, Mu: unknown(), Lag: unknown(), Plateau: unknown()}
	for _, m := range Models {
		v.Fits = append(v.Fits, fitModel(d, m, s))
	}
	if s.Loss != Squares {
		v.robustAICc(d, s.Loss)
	}
	flat := v.Fits[0]
	slices.SortStableFunc(v.Fits, func(a, b Fitted) int { return better(&a, &b) })
	if flat.Status == Failed {
		v.Why = flat.Why
		return v
	}
	v.Chosen = v.pick(flat, len(d.y))
	f := &v.Fits[v.Chosen]
	for i := range v.Fits {
		if i != v.Chosen && v.Fits[i].AICc-f.AICc < alike {
			v.Alike = append(v.Alike, i)
		}
	}
	v.say(d, flat, s)
	return v
}

// better orders by AICc, failed fits last.
func better(a, b *Fitted) int {
	return cmp.Or(cmp.Compare(b2i(a.Status == Failed), b2i(b.Status == Failed)), cmp.Compare(a.AICc, b.AICc))
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// pick takes the least AICc, but a fit that converged before one that did not
// where the data do not tell them apart. With too few points for any AICc but
// that of no growth, one pace is tried against it.
func (v *Verdict) pick(flat Fitted, n int) int {
	best := 0
	for i := range v.Fits {
		f := &v.Fits[i]
		if f.Status == Converged && f.AICc-v.Fits[0].AICc < alike {
			best = i
			break
		}
	}
	for i := range v.Fits {
		f := &v.Fits[i]
		if f.Model == Exponential && math.IsInf(f.AICc, 1) && f.Status == Converged && byChance(flat, *f, n) < chance {
			best = i
		}
	}
	return best
}

// say fills in course and numbers.
func (v *Verdict) say(d points, flat Fitted, s Setting) {
	f := &v.Fits[v.Chosen]
	v.Status, v.Why = f.Status, f.Why
	n := len(d.y)
	if n < 3 {
		v.Why, v.Status = "two points show no error, so they show no growth", IllDetermined
		return
	}
	v.Course = Level
	if f.Model == Flat || !(byChance(flat, *f, n) < chance) {
		return
	}
	if !s.NoProfile {
		f.profiles(d, s)
		v.Status, v.Why = f.Status, f.Why
	}
	mu := f.Interval(Mu)
	switch {
	case mu.Low > 0:
		v.Course = Grows
	case mu.High < 0:
		v.Course = Dies
	default:
		v.Course = Unclear
		if v.Why == "" {
			v.Status, v.Why = IllDetermined, "the values change, but the data do not tell how fast"
		}
		return
	}
	v.Mu = mu
	v.Lag = shift(f.Interval(Lag), f.Origin)
	p := f.Interval(Plateau)
	v.Plateau = analysis.Interval{Low: math.Exp(p.Low), Likely: math.Exp(p.Likely), High: math.Exp(p.High)}
}

func shift(i analysis.Interval, by float64) analysis.Interval {
	return analysis.Interval{Low: i.Low + by, Likely: i.Likely + by, High: i.High + by}
}

// byChance is the probability of the F test that flat data let a model do as
// well as this.
func byChance(flat, f Fitted, n int) float64 {
	extra := float64(len(f.P) - len(flat.P))
	df := float64(n - len(f.P))
	gain := flat.cost - f.cost
	if df < 1 || !(gain > 0) {
		return 1
	}
	if f.cost == 0 {
		return 0
	}
	return distuv.F{D1: extra, D2: df}.Survival(gain / extra / (f.cost / df))
}
