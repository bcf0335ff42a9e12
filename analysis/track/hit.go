package track

import (
	"math"

	"github.com/nightshelf/nightshelf/ingest"
)

// A step is a change by more than stepLeast in the logarithm from one twenty
// minutes to the next that then stays. Nothing that grows does that: the
// fastest envelope of growth (Bissinger and others 2008, 30 degC) makes 7 per
// cent in twenty minutes; a viral crash loses at most half in an hour.
const stepLeast = 0.20

// findStep looks for a step between the two bins before the last two and the
// last two, and takes it out of the course from there on.
func (s *State) findStep(b Bin) {
	if s.Since == 0 || s.Lot == "" {
		return
	}
	after, e1, ok1 := s.pair(b.Index)
	before, e2, ok2 := s.pair(b.Index - 2)
	if !ok1 || !ok2 {
		return
	}
	jump := after - before
	if math.Abs(jump) < max(stepLeast, 6*math.Hypot(e1, e2)) || !s.flat(b.Index, jump) || !s.flat(b.Index-2, jump) {
		return
	}
	when := int64(b.Index-1) * BinLength.Milliseconds()
	hit := Step{At: when, Ratio: float32(math.Exp(jump))}
	if fits(s.Handled, hit) {
		hit.Explained, hit.Entry = true, s.Handled.Kind
	}
	s.LastHit = hit
	s.takeOut(b.Index, jump)
}

// flat reports whether the two bins that end with index agree with each other,
// measured by the jump between two such pairs: a step and not a slope, nor one
// bin full of bubbles.
func (s *State) flat(index int32, jump float64) bool {
	a, okA := s.log(index)
	b, okB := s.log(index - 1)
	return okA && okB && math.Abs(a-b) < max(stepLeast/2, math.Abs(jump)/5)
}

func (s *State) log(index int32) (float64, bool) {
	b, ok := s.Bin(index)
	if !ok || !s.within(b) {
		return 0, false
	}
	l, _ := s.floored(b)
	return l, true
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

func (s *State) pair(index int32) (log, sigma float64, ok bool) {
	a, okA := s.Bin(index)
	b, okB := s.Bin(index - 1)
	if !okA || !okB || !s.within(a) || !s.within(b) {
		return 0, 0, false
	}
	la, ea := s.floored(a)
	lb, eb := s.floored(b)
	return (la + lb) / 2, math.Hypot(ea, eb) / 2, true
}

// takeOut shifts the last two bins and all that follow, so that the course
// goes on as if the step had not been.
func (s *State) takeOut(index int32, jump float64) {
	s.Shift -= float32(jump)
	for i := index - 1; i <= index; i++ {
		s.Bins[int(i)%bins].Shift -= float32(jump)
	}
}

// Question reports whether the newest step is one that nobody has explained.
func (s *State) Question() (Step, bool) {
	return s.LastHit, s.LastHit.Ratio != 0 && !s.LastHit.Explained
}

// Touched reports whether somebody handled the vessel within ms milliseconds
// before the state's time.
func (s *State) Touched(ms int64) bool {
	return s.Handled.Kind != "" && s.Handled.Kind != ingest.Dose && s.At-s.Handled.At <= ms
}
