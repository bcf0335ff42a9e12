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
		n := s.side(b.Index, gap)
		if jump, sigma, ok := s.jump(b.Index, gap, n); ok {
			s.step(b.Index, gap, n, jump, sigma)
			return
		}
	}
}

const (
	// sideMany is how many bins tell the density on either side of a step where
	// each is the median of sideReadings or more, and sideFew where it is not:
	// then two bubbles in a row make a pair, and one of four is passed over.
	sideMany, sideFew = 2, 4
	sideReadings      = 3
)

// side is how many bins are looked at on either side. Where the logbook tells
// of work, a pair will do.
func (s *State) side(index, gap int32) int32 {
	if s.handledAround(index - gap - sideMany) {
		return sideMany
	}
	for i := index - 1; i <= index; i++ {
		if b, ok := s.Bin(i); ok && b.Count > 0 && b.Count < sideReadings {
			return sideFew
		}
	}
	return sideMany
}

// jump measures the change over the bins that end with index; ok is false if
// it is no step: too small, lost in noise, or a slope.
func (s *State) jump(index, gap, n int32) (jump, sigma float64, ok bool) {
	after, d1, e1, ok1 := s.about(index, n)
	before, d2, e2, ok2 := s.about(index-n-gap, n)
	if !ok1 || !ok2 {
		return 0, 0, false
	}
	jump = after - before
	sigma = math.Hypot(e1, e2)
	// With a bin between, a slope has half as much time again to get so far.
	least := stepLeast * (1 + float64(gap)/2)
	if s.handledAround(index - gap - n) {
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
func (s *State) step(index, gap, n int32, jump, sigma float64) {
	first := index - n + 1 // after it
	when := int64(first-gap) * BinLength.Milliseconds()
	hit := Step{At: when, Ratio: float32(math.Exp(jump))}
	if h, ok := s.explaining(hit); ok {
		hit.Explained, hit.Entry = true, h.Kind
	}
	s.LastHit = hit
	for i := first - gap; i < first; i++ {
		s.drop(i) // neither before nor after
	}
	// Nobody knows what grew while it happened: half of its length at full pace.
	// The bins after it and all that follow go on as if it had not been.
	s.took(first, -jump, math.Hypot(sigma, s.paceOver(1+gap)))
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

// about is the log density of the n bins that end with index, how far apart they
// are, and the standard error: of both of two, and of more without the one that
// lies furthest off.
func (s *State) about(index, n int32) (log, apart, sigma float64, ok bool) {
	var logs [sideFew]float64
	noise := 0.0
	for i := range n {
		b, kept := s.Bin(index - i)
		if !kept || b.Count == 0 || !s.within(b) {
			return 0, 0, 0, false
		}
		l, e := s.floored(b)
		logs[i] = l
		noise += e * e
	}
	all := logs[:n]
	small(all)
	if n > sideMany {
		if all[n-1]-all[1] < all[n-2]-all[0] {
			all = all[1:]
		} else {
			all = all[:n-1]
		}
	}
	mean := 0.0
	for _, l := range all {
		mean += l / float64(len(all))
	}
	return mean, all[len(all)-1] - all[0], math.Sqrt(noise) / float64(n), true
}

// Question reports whether the newest step is one that nobody has explained.
func (s *State) Question() (Step, bool) {
	return s.LastHit, s.LastHit.Ratio != 0 && !s.LastHit.Explained
}
