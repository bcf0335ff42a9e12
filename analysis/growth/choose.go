package growth

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/nightshelf/nightshelf/analysis"
)

const (
	// alike is the difference of AICc within which data do not tell models
	// apart (Burnham and Anderson 2002, Model Selection and Multimodel
	// Inference, section 2.6).
	alike = 2
	// chance bounds how often a curve that neither grows nor dies is given a
	// growth rate: one in five thousand.
	chance = 2e-4
	// doubt is the chance above which a change is no change at all.
	doubt = 0.05
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
	alone := s
	if !d.empty && changeByChance(c, 1) > doubt {
		alone.Learn = false // there is nothing whose errors need be learnt
	}
	learn(&d, alone, func() Fitted { return v.fit(d, alone) })
	if v.Chosen < 0 {
		v.Why = v.Fits[0].Why
		return v
	}
	v.say(c, d, s)
	f := &v.Fits[v.Chosen]
	for i := range v.Fits {
		if i != v.Chosen && v.Fits[i].AICc-f.AICc < alike {
			v.Alike = append(v.Alike, i)
		}
	}
	return v
}

// fit fits every model, the best first, and returns the one to be taken.
func (v *Verdict) fit(d points, s Setting) Fitted {
	v.Fits = v.Fits[:0]
	for _, m := range Models {
		v.Fits = append(v.Fits, fitModel(d, m, s))
	}
	if s.Loss != Squares {
		v.robustAICc(d, s.Loss)
	}
	slices.SortStableFunc(v.Fits, func(a, b Fitted) int { return better(&a, &b) })
	if v.Fits[0].Status == Failed { // as flat fails, so do all
		return v.Fits[0]
	}
	v.Chosen = v.pick()
	return v.Fits[v.Chosen]
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
// that of no growth, one pace is taken.
func (v *Verdict) pick() int {
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
		if f.Model == Exponential && math.IsInf(f.AICc, 1) && f.Status == Converged {
			best = i
		}
	}
	return best
}

// say fills in course and numbers.
func (v *Verdict) say(c Curve, d points, s Setting) {
	if len(d.y) < 3 {
		v.level(Unclear, "two points show no error, so they show no growth")
		return
	}
	f := &v.Fits[v.Chosen]
	p := changeByChance(c, f.Shared)
	switch {
	case p > doubt && v.hidden():
		v.level(Unclear, "no change is shown, but values so few or so scattered would hide a doubling")
		return
	case p > doubt:
		v.level(Level, "")
		return
	case p > chance:
		v.level(Unclear, fmt.Sprintf("the values change, but so few of them would do so by chance too often (p = %.2g)", p))
		return
	}
	if i := v.index(Exponential); f.Model == Flat && v.Fits[i].Status == Converged {
		v.Chosen = i // too few points for AICc to let a second parameter in
		f = &v.Fits[i]
	}
	if !s.NoProfile {
		f.profiles(d, s)
	}
	v.Status, v.Why = f.Status, f.Why
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
	q := f.Interval(Plateau)
	v.Plateau = analysis.Interval{Low: math.Exp(q.Low), Likely: math.Exp(q.Likely), High: math.Exp(q.High)}
}

// hidden reports whether the values leave room for more than a doubling or a
// halving over the time watched, by the interval of the slope at one pace.
func (v *Verdict) hidden() bool {
	f := &v.Fits[v.index(Exponential)]
	if f.Status == Failed || f.DF < 1 || f.Status == Stopped {
		return false // ln N tells nothing where the values lie about zero
	}
	i := f.Interval(Mu)
	return !(math.Max(math.Abs(i.Low), math.Abs(i.High))*f.watched <= math.Ln2)
}

// index is the place of a model in Fits.
func (v *Verdict) index(m *Model) int {
	return slices.IndexFunc(v.Fits, func(f Fitted) bool { return f.Model == m })
}

// level takes no growth, either because there is none or because it is not
// shown.
func (v *Verdict) level(c Course, why string) {
	v.Course, v.Why = c, why
	for i := range v.Fits {
		if v.Fits[i].Model == Flat {
			v.Chosen, v.Status = i, v.Fits[i].Status
		}
	}
	if why != "" {
		v.Status = IllDetermined
		return
	}
	v.Why = v.Fits[v.Chosen].Why
}

// changeByChance tests the logarithms where all values have one, since growth
// is straight in them, and the values otherwise.
func changeByChance(c Curve, shared float64) float64 {
	d := ready(c, Logarithm)
	if n := ready(c, Natural); len(n.y) > len(d.y) {
		d = n
	}
	return byChance(d.t, d.y, shared)
}

func shift(i analysis.Interval, by float64) analysis.Interval {
	return analysis.Interval{Low: i.Low + by, Likely: i.Likely + by, High: i.High + by}
}
