package track

import (
	"math"
)

// A step is a change by more than stepLeast in the logarithm from one twenty
// minutes to the next that then stays. Nothing that grows does that: the
// fastest envelope of growth (Bissinger and others 2008, 30 degC) makes 7 per
// cent in twenty minutes; a viral crash loses at most half in an hour.
const stepLeast = 0.20

// stepEntered is the least step where the logbook tells of something that
// would make one: a top-up of a tenth is no crash.
const stepEntered = 0.08

// handledAround reports whether somebody handled the vessel about the time of
// a bin in a way that makes a step.
func (s *State) handledAround(index int32) bool {
	d := s.Handled.At - int64(index)*BinLength.Milliseconds()
	return makesStep(s.Handled.Kind) && -explainWithin/2 <= d && d <= explainWithin
}

// findStep looks for a step between two steady bins and the newest two, next
// to each other or with one bin between in which it happened, and takes it out
// of the course from there on.
func (s *State) findStep(b Bin) {
	if s.Since == 0 || s.Lot == "" {
		return
	}
	for gap := range int32(2) {
		if jump, sigma, ok := s.jump(b.Index, gap); ok {
			s.step(b.Index, gap, jump, sigma)
			return
		}
	}
}

// jump measures the change over the bins that end with index; ok is false if
// it is no step: too small, lost in noise, or a slope.
func (s *State) jump(index, gap int32) (jump, sigma float64, ok bool) {
	after, d1, e1, ok1 := s.pair(index)
	before, d2, e2, ok2 := s.pair(index - 2 - gap)
	if !ok1 || !ok2 {
		return 0, 0, false
	}
	jump = after - before
	sigma = math.Hypot(e1, e2)
	// With a bin between, a slope has half as much time again to get so far.
	least := stepLeast * (1 + float64(gap)/2)
	if s.handledAround(index - gap - 2) {
		least = stepEntered
	}
	if math.Abs(jump) < max(least, 6*sigma) {
		return 0, 0, false
	}
	// Along a slope, or where one begins, the bins of a pair differ by half of
	// what the pairs do at least; with one bin between, by a third.
	steady := 0.4 * math.Abs(jump)
	if gap > 0 {
		steady = 0.25 * math.Abs(jump)
	}
	return jump, sigma, d1 < steady && d2 < steady
}

// step notes a step and takes it out.
func (s *State) step(index, gap int32, jump, sigma float64) {
	when := int64(index-1-gap) * BinLength.Milliseconds()
	hit := Step{At: when, Ratio: float32(math.Exp(jump))}
	if fits(s.Handled, hit) {
		hit.Explained, hit.Entry = true, s.Handled.Kind
	}
	s.LastHit = hit
	for i := index - 1 - gap; i < index-1; i++ {
		s.drop(i) // neither before nor after
	}
	// Nobody knows what grew while it happened: half of its length at full pace.
	// The last two bins and all that follow go on as if it had not been.
	s.took(index-1, -jump, math.Hypot(sigma, s.paceOver(1+gap)))
}

// paceOver is what a lot at its full pace grows in so many bins.
func (s *State) paceOver(n int32) float64 {
	if math.IsNaN(s.Pace) {
		return growing * float64(n) / float64(perDay)
	}
	return s.Pace * float64(n) / float64(perDay)
}

// floored is LogDensity where a density that does not stand out of the noise
// is taken to be as great as could hide in it: a vessel that was emptied, or a
// probe out of the water, is a step too.
func (s *State) floored(b Bin) (log, sigma float64) {
	if l, e, ok := s.LogDensity(b); ok {
		return l, e
	}
	return math.Log(3*math.Hypot(float64(b.Noise), s.BlankNoise/3)) + float64(b.Shift), 1.0 / 3
}

// pair is the mean log density of the two bins that end with index, how far
// apart they are, and the standard error of the mean.
func (s *State) pair(index int32) (log, apart, sigma float64, ok bool) {
	a, okA := s.Bin(index)
	b, okB := s.Bin(index - 1)
	if !okA || !okB || a.Count == 0 || b.Count == 0 || !s.within(a) || !s.within(b) {
		return 0, 0, 0, false
	}
	la, ea := s.floored(a)
	lb, eb := s.floored(b)
	return (la + lb) / 2, math.Abs(la - lb), math.Hypot(ea, eb) / 2, true
}

// Question reports whether the newest step is one that nobody has explained.
func (s *State) Question() (Step, bool) {
	return s.LastHit, s.LastHit.Ratio != 0 && !s.LastHit.Explained
}
