package growth

import (
	"math"

	"github.com/nightshelf/nightshelf/analysis"
)

// A profile ends where the fit with one parameter held is worse by t standard
// deviations (Bates and Watts 1988, Nonlinear Regression Analysis and Its
// Applications, chapter 6): tau = sqrt((S(x) - S)/s^2) = t.
const (
	widenings   = 10   // each by half as much again, before an end is called open
	refinements = 20   // of an end once it lies between two values
	tauError    = 1e-4 // of t, at which it is close enough
)

// profiler refits a problem with one parameter held.
type profiler struct {
	search  *search
	best    Result
	options Options
	least   float64 // weighted sum of squares of the best fit
	spread  float64
	t       float64
	lower   []float64 // where a profile came below the best fit; nil where none did
}

// lowerBy is by how much of itself a sum of squares must be less for the fit to
// have been the wrong one.
const lowerBy = 1e-6

// mostRefits bounds how often a fit begins anew from what its profile found.
const mostRefits = 3

// profiles works out the intervals of lag, mu and plateau. A profile walks where
// the search did not and may come upon a better fit: then that is taken, and
// profiled in its turn.
func (f *Fitted) profiles(d points, s Setting) {
	for range mostRefits {
		if f.Status == Failed || f.Status == Stopped || f.DF < 1 {
			return
		}
		lower := f.profileOnce(d, s)
		if lower == nil || !f.refit(d, s, lower) {
			break
		}
	}
	f.judge(d)
}

// profileOnce returns parameters that fit better, nil where none were found.
func (f *Fitted) profileOnce(d points, s Setting) (lower []float64) {
	f.profile = make([]analysis.Interval, len(f.P))
	pr := newProfiler(d.problem(f.Model), f.Result, s.Options, f.quantile())
	pr.spread *= math.Sqrt(f.widening())
	for i, q := range f.Model.Parameters {
		f.profile[i] = unknown()
		if q == Lag || q == Mu || q == Plateau {
			f.profile[i] = analysis.Interval{Low: pr.end(i, -1), Likely: f.P[i], High: pr.end(i, 1)}
		}
	}
	return pr.lower
}

// refit fits again from start and takes that if it is better.
func (f *Fitted) refit(d points, s Setting, start []float64) bool {
	if s.Iterations == 0 {
		s.Iterations = curveIterations
	}
	r := Fit(d.problem(f.Model), start, s.Options)
	if r.Status == Failed || r.Status == Stopped || !f.betterThan(f.Result, r, d, s.Loss) {
		return false
	}
	r.Evaluations += f.Evaluations
	f.Result, f.profile, f.Shared = r, nil, 1
	f.reckon(d, s)
	return true
}

func newProfiler(p Problem, best Result, o Options, t float64) *profiler {
	p.Fixed = make([]bool, len(best.P))
	s := newSearch(p, len(best.P))
	if best.Weights != nil {
		copy(s.w, best.Weights)
		s.plain, s.robust = false, true
	}
	copy(s.at.p, best.P)
	s.evaluate(&s.at)
	pr := &profiler{search: s, best: best, options: o, least: s.at.sum, t: t, spread: best.SD}
	if o.Loss != Squares {
		pr.spread = o.Loss.spread(s.residuals(), best.SD, len(best.P))
	}
	pr.options.Tolerance = 1e-4 // the sum of squares is flat at the bottom
	pr.options.Iterations = 50
	return pr
}

// end finds the end of the interval of parameter j towards side, -1 or 1. It is
// infinite where the data do not bound it, and the bound itself where that is
// zero by nature.
func (pr *profiler) end(j int, side float64) float64 {
	low, high := pr.search.problem.bounds(j)
	bound := low
	if side > 0 {
		bound = high
	}
	if !(pr.spread > 0) { // a perfect fit leaves no room
		return pr.best.P[j]
	}
	copy(pr.search.at.p, pr.best.P)
	step := pr.t * pr.best.SE[j]
	if !(step > 0) || step > high-low {
		step = (high - low) / 50
	}
	inside, insideTau := pr.best.P[j], 0.0
	for range widenings {
		x := inside + side*step
		if side*(bound-x) <= 0 {
			x = bound
		}
		tau := pr.tau(j, x)
		if tau >= pr.t {
			return pr.between(j, inside, insideTau, x, tau)
		}
		if x == bound {
			break
		}
		inside, insideTau = x, tau
		step *= 1.5
	}
	if bound == 0 {
		return 0
	}
	return math.Inf(int(side))
}

// between closes in on tau = t by false position, halving where that creeps.
func (pr *profiler) between(j int, a, tauA, b, tauB float64) float64 {
	for i := range refinements {
		x := a + (b-a)*(pr.t-tauA)/(tauB-tauA)
		if i%3 == 2 || math.IsInf(tauB, 1) {
			x = (a + b) / 2
		}
		tau := pr.tau(j, x)
		if math.Abs(tau-pr.t) <= tauError*pr.t {
			return x
		}
		if tau < pr.t {
			a, tauA = x, tau
		} else {
			b, tauB = x, tau
		}
	}
	return b
}

// tau holds parameter j at x and fits the others.
func (pr *profiler) tau(j int, x float64) float64 {
	s := pr.search
	fixed := s.problem.Fixed
	clear(fixed)
	fixed[j] = true
	s.at.p[j] = x
	s.evaluate(&s.at)
	if math.IsInf(s.at.sum, 1) {
		copy(s.at.p, pr.best.P)
		return math.Inf(1)
	}
	s.descend(pr.options, nearDamping)
	if s.at.sum < pr.least*(1-lowerBy) && s.at.sum > 0 {
		pr.lower = append(pr.lower[:0], s.at.p...)
	}
	return math.Sqrt(math.Max(s.at.sum-pr.least, 0)) / pr.spread
}
