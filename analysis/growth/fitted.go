package growth

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/nightshelf/nightshelf/analysis"
)

// Setting says how curves are fitted. The zero value is least squares on
// logarithms with 95 % intervals.
type Setting struct {
	Options
	Scale Scale
	Level float64 // of the intervals; 0 means 0.95
	// Learn has the errors learnt from the residuals: how they grow with density
	// (on the natural scale, for a curve without Sigma), and how many neighbours
	// share them, by which intervals and standard errors are widened.
	Learn bool
	// NoProfile leaves the profile-likelihood intervals out, which take most
	// of the time; Interval then gives those of the standard errors.
	NoProfile bool
}

// curveIterations serve where Options.Iterations is 0: a curve that a model can
// follow takes about ten, and one that it cannot would waste more.
const curveIterations = 60

func (s Setting) level() float64 {
	if s.Level > 0 && s.Level < 1 {
		return s.Level
	}
	return 0.95
}

// Fitted is a model fitted to a curve. Lag and start count from Origin.
type Fitted struct {
	Model *Model
	Result
	Origin  float64 // time of the first point used, d
	Left    int     // points left out: not numbers, or without a logarithm
	AICc    float64 // Akaike's criterion for few points; +Inf where there are too few for it
	Scale   Scale
	Shared  float64             // how many neighbours share an error; 1 where they are independent
	profile []analysis.Interval // by parameter; nil where not worked out
	level   float64
	points  int
	watched float64 // time from first to last point, d
	cost    float64 // what the residuals cost under the loss, a sum of squares
}

// FitModel fits one model to a curve, from starting values found in the data.
// It always returns, and always with a status.
func FitModel(c Curve, m *Model, s Setting) Fitted {
	d := ready(c, s.Scale)
	f := learn(&d, s, func() Fitted { return fitModel(d, m, s) })
	if !s.NoProfile {
		f.profiles(d, s)
	}
	return f
}

// learn fits, learns the errors from the residuals and fits again, until the
// weights stand.
func learn(d *points, s Setting, fit func() Fitted) Fitted {
	if !s.Learn || s.Scale != Natural || d.sigma != nil || d.empty {
		return fit()
	}
	noise, near := roughNoise(d.t, d.y)
	if noise == (Noise{}) {
		return fit()
	}
	d.sigma = noise.At(near)
	f := fit()
	for range learnings {
		if f.Status == Failed || f.DF < 1 {
			break
		}
		value, residual, leverage := f.leverages(*d)
		noise = noiseOf(value, residual, leverage)
		if noise == (Noise{}) {
			break
		}
		d.sigma = noise.At(value)
		f = fit()
	}
	return f
}

// learnings is how often the errors are learnt anew.
const learnings = 3

// share widens the errors of a fit whose residuals neighbours share.
func (f *Fitted) share(d points) {
	if f.DF < 1 {
		return
	}
	_, r, _ := f.leverages(d)
	for i := range r {
		if d.sigma != nil {
			r[i] /= d.sigma[i]
		}
	}
	f.Shared = shared(r, len(r)-f.DF)
	if f.Shared <= 1 || f.Covariance == nil {
		return
	}
	f.Covariance.ScaleSym(f.widening(), f.Covariance)
	for i := range f.SE {
		f.SE[i] *= math.Sqrt(f.widening())
	}
}

// widening is by how much the variances of independent errors fall short: by
// the neighbours that share one, and by the curve that follows them.
func (f *Fitted) widening() float64 {
	if f.Shared <= 1 {
		return 1
	}
	n := float64(f.points)
	return f.Shared * (float64(f.DF) / n) * (n / f.Shared) / f.freedom()
}

// freedom is the degrees of freedom of the spread, by independent values.
func (f *Fitted) freedom() float64 {
	if f.Shared <= 1 {
		return float64(f.DF)
	}
	return math.Max(float64(f.points)/f.Shared-float64(f.points-f.DF), 1)
}

// leverages returns the fitted values, the residuals and how much each fitted
// value hangs on its own point.
func (f *Fitted) leverages(d points) (value, residual, leverage []float64) {
	n := len(f.P)
	value, residual, leverage = make([]float64, len(d.y)), make([]float64, len(d.y)), make([]float64, len(d.y))
	jac := make([]float64, n*len(d.y))
	f.Model.On(d.t, d.scale).Evaluate(f.P, value, jac)
	for i, y := range d.y {
		residual[i] = y - value[i]
		leverage[i] = float64(len(d.y)-f.DF) / float64(len(d.y))
		if f.Covariance != nil && f.SD > 0 {
			g := mat.NewVecDense(n, jac[i*n:i*n+n])
			sigma := f.SD
			if d.sigma != nil {
				sigma *= d.sigma[i]
			}
			leverage[i] = math.Min(mat.Inner(g, f.Covariance, g)/(sigma*sigma), 0.99)
		}
	}
	return value, residual, leverage
}

func fitModel(d points, m *Model, s Setting) Fitted {
	f := Fitted{Model: m, Origin: d.origin, Left: d.left, Scale: s.Scale, level: s.level(), AICc: math.Inf(1), Shared: 1, points: len(d.y), watched: d.span}
	if d.empty {
		f.Result = failed(len(m.Parameters), emptiness(d))
		return f
	}
	f.Result = f.search(d, s)
	if f.Status != Failed {
		f.reckon(d, s)
	}
	return f
}

// reckon works out what follows from the result of a fit.
func (f *Fitted) reckon(d points, s Setting) {
	if s.Learn {
		f.share(d)
	}
	f.judge(d)
	f.cost = cost(d, *f, s.Loss, f.SD)
	f.AICc = aicc(len(d.y), len(f.P), f.RSS, d.sigma)
}

func emptiness(d points) string {
	switch {
	case len(d.t) == 0:
		return "no value can be used"
	case len(d.t) == 1 || d.t[len(d.t)-1] == 0:
		return "all values are of one time"
	}
	return "no value stands above zero"
}

// paces are the steepnesses from which fits begin, the likeliest first.
var paces = []float64{1.2, 2.5, 0.5}

// search fits from the best of a few starts, and from the others where that
// came to no good end.
func (f *Fitted) search(d points, s Setting) Result {
	if s.Iterations == 0 {
		s.Iterations = curveIterations
	}
	problem := d.problem(f.Model)
	if f.Model.Index(Plateau) < 0 {
		return Fit(problem, d.start(f.Model, 1), s.Options)
	}
	best := Fit(problem, d.start(f.Model, paces[0]), s.Options)
	for _, pace := range paces[1:] {
		if best.Status == Converged && !anyBound(best) {
			break
		}
		r := Fit(problem, d.start(f.Model, pace), s.Options)
		if r.Status == Failed || best.Status != Failed && !f.betterThan(best, r, d, s.Loss) {
			break // nothing better is in sight
		}
		best = r
	}
	return best
}

// betterThan reports whether the residuals of r cost less than those of best,
// both at the spread of best.
func (f *Fitted) betterThan(best, r Result, d points, l Loss) bool {
	a, b := *f, *f
	a.Result, b.Result = r, best
	return cost(d, a, l, best.SD) < cost(d, b, l, best.SD)*(1-1e-6)
}

func anyBound(r Result) bool {
	for _, b := range r.AtBound {
		if b {
			return true
		}
	}
	return false
}

func (d points) problem(m *Model) Problem {
	low, high := d.bounds(m)
	return Problem{Function: m.On(d.t, d.scale), Y: d.y, Sigma: d.sigma, Low: low, High: high}
}

// What counts as hardly known: a plateau by a factor of two at 95 %, a rate by
// half of itself in standard error, a lag by a quarter of the time watched.
const (
	poorPlateau = 0.35
	poorMu      = 0.5
	poorLag     = 0.25
)

// judge marks a fit as ill-determined whose plateau, rate or lag the data
// hardly tell: by their standard errors, or by their profiles once there are
// any, for a profile sees what lies far off.
func (f *Fitted) judge(d points) {
	var poor []string
	for i, q := range f.Model.Parameters {
		se, limit := f.spread(i), math.Inf(1)
		switch q {
		case Plateau:
			limit = poorPlateau
		case Mu:
			limit = poorMu * math.Abs(f.P[i])
			if f.Model == Exponential { // a slope about zero is well known
				limit = math.Inf(1)
			}
		case Lag:
			limit = poorLag * d.span
		}
		// A lag of nothing is an answer, any other bound is the lack of one.
		none := q == Lag && f.P[i] == 0 && f.AtBound[i]
		if q != Shape && q != Start && !none && (f.AtBound[i] || !(se <= limit)) {
			poor = append(poor, q.Name)
		}
	}
	if len(poor) > 0 && f.Status == Converged {
		f.Status = IllDetermined
		f.Why = fmt.Sprintf("the data hardly tell the %s", strings.Join(poor, ", "))
	}
}

// spread is half the width of a profile in quantiles, the standard error where
// there is no profile.
func (f *Fitted) spread(i int) float64 {
	if f.profile != nil && f.profile[i].Known() {
		return (f.profile[i].High - f.profile[i].Low) / 2 / f.quantile()
	}
	return f.SE[i]
}

// Interval returns a parameter with its interval: by profile likelihood where
// that was worked out, by the standard error otherwise. Infinite ends are not
// bounded by the data; all is NaN where nothing is known or the model has no
// such parameter.
func (f *Fitted) Interval(q Parameter) analysis.Interval {
	i := f.Model.Index(q)
	if i < 0 || f.Status == Failed {
		return unknown()
	}
	if f.profile != nil && f.profile[i].Known() {
		return f.profile[i]
	}
	half := f.quantile() * f.SE[i]
	return analysis.Interval{Low: f.P[i] - half, Likely: f.P[i], High: f.P[i] + half}
}

func (f *Fitted) quantile() float64 {
	if f.DF < 1 {
		return math.NaN()
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: f.freedom()}.Quantile(0.5 + f.level/2)
}

// Density returns N at a time, in days as the curve has them, with the
// pointwise interval of the fitted curve (by the delta method, in ln N). The
// ends are NaN where no error is known.
func (f *Fitted) Density(days float64) analysis.Interval {
	if f.Status == Failed {
		return unknown()
	}
	v, g := f.Model.At(f.P, days-f.Origin)
	i := analysis.Interval{Low: math.NaN(), Likely: math.Exp(v), High: math.NaN()}
	if f.Covariance != nil {
		vec := mat.NewVecDense(len(g), g)
		half := f.quantile() * math.Sqrt(math.Max(mat.Inner(vec, f.Covariance, vec), 0))
		i.Low, i.High = math.Exp(v-half), math.Exp(v+half)
	}
	return i
}

func unknown() analysis.Interval {
	return analysis.Interval{Low: math.NaN(), Likely: math.NaN(), High: math.NaN()}
}
