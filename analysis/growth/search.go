package growth

import "math"

// ending is how a search came to its end.
type ending int

const (
	lost      ending = iota // no value at the start
	exhausted               // out of iterations
	stuck                   // no step goes down any more
	bottom                  // as low as it goes
)

// Damping of Levenberg and Marquardt, by the rule of Nielsen 1999 (Damping
// parameter in Marquardt's method, IMM-REP-1999-05, Technical University of
// Denmark), scaled as by Moré 1978 (The Levenberg-Marquardt algorithm).
const (
	nearDamping  = 1e-4 // going on from the bottom of a like problem
	leastDamping = 1e-15
	mostDamping  = 1e12
	leastGain    = 1e-4 // of the decrease foretold, for a step to be taken
	// noise bounds the relative change of a sum of squares that is rounding.
	noise = 1e-14
)

// manner is a way of walking down.
type manner struct {
	damping float64 // at the first step
	// memory is how much of the greatest influence of a parameter is remembered
	// from step to step: all of it (Moré) is sure, none of it (Marquardt 1963)
	// gets along valleys in which an influence falls by many powers of ten.
	memory float64
}

// manners are tried in turn until one ends well: fast, wary of leaping out of
// the valley at the first step, and for long valleys.
var manners = []manner{{1e-3, 1}, {100, 0.5}, {10, 0}}

// place is a set of parameters with what the function is there.
type place struct {
	p, f        []float64
	a, gradient []float64 // J'WJ, J'Wr
	sum         float64   // weighted sum of squares
}

// search is a fit under way. Its slices are made once, so that iterations
// allocate nothing of size.
type search struct {
	problem     Problem
	m, n        int
	scale, w    []float64 // 1/Sigma; weights of the robust loss
	plain       bool      // all of them are one
	robust      bool      // the loss has set weights
	whole       float64   // what size returned, NaN where the weights have changed since
	blocks      blockwise // the function, where it can be taken in blocks
	jac, r      []float64 // of the block at hand
	at, trial   place
	longest     []float64 // greatest J'WJ diagonal met, the scale of damping
	step        []float64
	free        []int
	memory      float64 // of the manner
	solver      solver
	evaluations int
}

func newSearch(p Problem, n int) *search {
	m := len(p.Y)
	s := &search{problem: p, m: m, n: n, memory: 1, scale: make([]float64, m), w: make([]float64, m), plain: p.Sigma == nil, whole: math.NaN()}
	for i := range s.scale {
		s.scale[i], s.w[i] = 1, 1
		if p.Sigma != nil {
			s.scale[i] = 1 / p.Sigma[i]
		}
	}
	for _, q := range []*place{&s.at, &s.trial} {
		*q = place{p: make([]float64, n), f: make([]float64, m), a: make([]float64, n*n), gradient: make([]float64, n)}
	}
	block := m
	if b, ok := p.Function.(blockwise); ok {
		s.blocks, block = b, min(m, blockPoints)
	}
	s.jac, s.r = make([]float64, block*n), make([]float64, block)
	s.longest, s.step, s.free = make([]float64, n), make([]float64, n), make([]int, 0, n)
	s.solver = newSolver(n)
	return s
}

// from walks down from start, in one manner after the other until one ends
// well, and stays at the best place found.
func (s *search) from(start []float64, o Options) ending {
	best, sum, end, last := make([]float64, s.n), math.Inf(1), lost, 0
	for i, m := range manners {
		s.memory = m.memory
		if !s.begin(start) {
			return lost
		}
		e := s.descend(o, m.damping)
		if i == 0 || s.at.sum < sum*(1-1e-9) {
			sum, end, last = s.at.sum, e, i
			copy(best, s.at.p)
		}
		if e == bottom && !s.blind() && last == i {
			s.memory = 1
			s.remember()
			return end
		}
		if e == bottom && !s.blind() {
			break
		}
	}
	s.memory = 1
	copy(s.at.p, best)
	s.evaluate(&s.at)
	s.remember()
	return end
}

func (s *search) begin(start []float64) bool {
	for j, v := range start {
		s.at.p[j] = s.clamp(j, v)
	}
	s.evaluate(&s.at)
	clear(s.longest)
	return !math.IsInf(s.at.sum, 1)
}

// blind reports whether the search strayed to where a parameter that made a
// difference makes none any more.
func (s *search) blind() bool {
	for j, l := range s.longest {
		if !s.problem.fixed(j) && s.at.a[j*s.n+j] <= 1e-20*l {
			return true
		}
	}
	return false
}

// descend walks down from where the search stands.
func (s *search) descend(o Options, damping float64) ending {
	worse := 2.0
	s.remember()
	for range o.iterations() {
		done, newton := s.settledHere(o.tolerance())
		if done {
			s.polish(newton)
			return bottom
		}
		down, left := s.stepDown(&damping, &worse)
		switch {
		case !left:
			return s.nothingLeft()
		case !down && damping > mostDamping:
			return stuck
		}
	}
	return exhausted
}

// stepDown tries one damped step and changes the damping by how it went. left
// is false where the step promised nothing beyond rounding.
func (s *search) stepDown(damping, worse *float64) (down, left bool) {
	if s.solve(*damping) {
		foretold := s.propose()
		s.evaluate(&s.trial)
		gain := (s.at.sum - s.trial.sum) / foretold
		if foretold > 0 && gain > leastGain {
			s.at, s.trial = s.trial, s.at
			s.remember()
			*damping = math.Max(leastDamping, *damping*math.Max(0.1, 1-math.Pow(2*gain-1, 3)))
			*worse = 2
			return true, true
		}
		// Below zero, the bounds have bent the step: a shorter one will do.
		if foretold >= 0 && foretold <= noise*s.at.sum {
			return false, false
		}
	}
	*damping *= *worse
	*worse *= 2
	return false, true
}

// nothingLeft tells a bottom from a place where damping only made the steps
// too small to see: at a bottom the undamped step promises nothing either, or
// what is left is rounding.
func (s *search) nothingLeft() ending {
	decrement, ok := s.decrement()
	if !ok || decrement <= 1e-8*s.at.sum || s.at.sum <= 1e-24*s.size() {
		return bottom
	}
	return stuck
}

// settledHere reports whether the relative offset, the length of the residual
// in the plane of the Jacobian to that across it (Bates and Watts 1981,
// Technometrics 23:179-183), is within the tolerance.
func (s *search) settledHere(tolerance float64) (done, newton bool) {
	if s.exact() {
		return true, false
	}
	s.release()
	if len(s.free) == 0 {
		return true, false
	}
	decrement, ok := s.decrement()
	if !ok {
		return false, false
	}
	k, df := float64(len(s.free)), float64(max(s.m-len(s.free), 1))
	return decrement/k <= tolerance*tolerance*s.at.sum/df, true
}

// exact reports whether the residuals are nothing but rounding.
func (s *search) exact() bool { return s.at.sum <= 1e-30*s.size() }

// size is the sum of squares that the function zero would leave.
func (s *search) size() float64 {
	if !math.IsNaN(s.whole) {
		return s.whole
	}
	size := 0.0
	for i, y := range s.problem.Y {
		size += y * y * s.scale[i] * s.scale[i] * s.w[i]
	}
	s.whole = size
	return size
}

// decrement is what the undamped step would take off the sum of squares.
func (s *search) decrement() (float64, bool) {
	if !s.solve(0) {
		return math.NaN(), false
	}
	d := 0.0
	for a, j := range s.free {
		d += s.at.gradient[j] * s.solver.x[a]
	}
	return d, d >= 0
}

// polish takes the last, undamped step where it does no harm: it squares the
// error that is left.
func (s *search) polish(newton bool) {
	if !newton {
		return
	}
	s.propose()
	s.evaluate(&s.trial)
	if s.trial.sum <= s.at.sum*(1+noise) {
		s.at, s.trial = s.trial, s.at
	}
}

// release lists the parameters that may move: not fixed, and not pressed
// against a bound.
func (s *search) release() {
	s.free = s.free[:0]
	for j, v := range s.at.p {
		low, high := s.problem.bounds(j)
		g := s.at.gradient[j]
		pressed := v <= low && g <= 0 || v >= high && g >= 0
		if !s.problem.fixed(j) && !pressed && s.longest[j] > 0 {
			s.free = append(s.free, j)
		}
	}
}

// solve works out a step over the free parameters, damped. A parameter at a
// bound that the step would push through is held instead, and the step worked
// out again: cut off at the bound, it would lead the others astray.
func (s *search) solve(damping float64) bool {
	for len(s.free) > 0 && s.solver.solve(s, damping) {
		kept := s.free[:0]
		for a, j := range s.free {
			low, high := s.problem.bounds(j)
			v, x := s.at.p[j], s.solver.x[a]
			if !(v <= low && x < 0 || v >= high && x > 0) {
				kept = append(kept, j)
			}
		}
		if len(kept) == len(s.free) {
			return true
		}
		s.free = kept
	}
	return false
}

// propose puts the solver's step, cut to the bounds, into trial and returns
// the decrease it foretells.
func (s *search) propose() float64 {
	copy(s.trial.p, s.at.p)
	clear(s.step)
	for a, j := range s.free {
		s.trial.p[j] = s.clamp(j, s.at.p[j]+s.solver.x[a])
		s.step[j] = s.trial.p[j] - s.at.p[j]
	}
	d := 0.0
	for i, hi := range s.step {
		d += 2 * hi * s.at.gradient[i]
		for j, hj := range s.step {
			d -= hi * s.at.a[i*s.n+j] * hj
		}
	}
	return d
}

func (s *search) clamp(j int, v float64) float64 {
	low, high := s.problem.bounds(j)
	return math.Max(low, math.Min(high, v))
}
