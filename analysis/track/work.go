package track

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

const (
	// workBefore and workAfter are how far from the time of its entry work at a
	// vessel may begin and go on: carboys are siphoned for the better part of
	// an hour, and people write from memory.
	workBefore = time.Hour
	workAfter  = 90 * time.Minute
	// workSteady is how alike three bins in a row must be, in the logarithm,
	// for the work to be over: a lot under full light grows less in half an hour.
	workSteady = 0.03
)

// makesStep reports whether what was done changes what the probe sees.
func makesStep(k ingest.Kind) bool {
	switch k {
	case ingest.Harvest, ingest.TopUp, ingest.WipeSensor, ingest.FitSensor, ingest.Move:
		return true
	}
	return false
}

// Working reports whether somebody is, by the logbook, at work on the vessel:
// what its probe sees now tells of the work.
func (s *State) Working() bool {
	d := s.At - s.Handled.At
	return makesStep(s.Handled.Kind) && -workBefore.Milliseconds() <= d && d <= workAfter.Milliseconds()
}

// settleWork takes out of the course what the work entered last has changed
// and no step was found for: a slow draw, in fits and starts. It compares
// before the work with the first half hour after it in which the density
// stands still, among the bins up to the newest.
func (s *State) settleWork() {
	if !makesStep(s.Handled.Kind) || s.Since == 0 {
		return
	}
	perBin := BinLength.Milliseconds()
	from := binIndex(s.Handled.At - workBefore.Milliseconds())
	to := min(binIndex(s.Handled.At+workAfter.Milliseconds()), s.Latest)
	if from <= 0 || int64(from)*perBin < s.Since {
		return
	}
	before, e1, ok := s.Level(from, 3)
	if !ok {
		return
	}
	for j := binIndex(s.Handled.At) + 1; j <= to; j++ {
		after, e2, ok := s.Level(j, 3)
		if !ok || !s.steady(j) {
			continue
		}
		jump := after - before - s.growth()*float64(j-from)/float64(perDay)
		if math.Abs(jump) < max(stepEntered, 6*math.Hypot(e1, e2)) {
			continue // not begun, or taken out already
		}
		hit := Step{At: s.Handled.At, Ratio: float32(math.Exp(jump)), Explained: true}
		h, ok := s.explaining(hit)
		if !ok {
			return
		}
		hit.Entry = h.Kind
		s.LastHit = hit
		// What is in between was seen while it happened.
		for i := from + 1; i < j-2; i++ {
			s.drop(i)
		}
		s.took(j-2, -jump, math.Hypot(math.Hypot(e1, e2), s.paceOver((j-from)/2)))
		return
	}
}

// growth is the pace to be expected over an hour or two, 1/d; 0 unknown.
func (s *State) growth() float64 {
	if math.IsNaN(s.Day.PerDay) {
		return 0
	}
	return s.Day.PerDay
}

// steady reports whether the three bins that end with index are alike.
func (s *State) steady(index int32) bool {
	low, high, noise := math.Inf(1), math.Inf(-1), 0.0
	for i := index - 2; i <= index; i++ {
		b, ok := s.Bin(i)
		if !ok || b.Count == 0 {
			return false
		}
		l, e, ok := s.LogDensity(b)
		if !ok {
			return false
		}
		low, high, noise = min(low, l), max(high, l), max(noise, e)
	}
	return high-low <= workSteady+3*noise
}
