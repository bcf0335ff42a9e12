package track

import "math"

// learnBlank takes bins of standing medium for the blank: their slow mean.
func (s *State) learnBlank(b Bin) {
	if s.Lot != "" || b.OD > StandingMost {
		return
	}
	if s.Standing == 0 {
		s.Standing = int64(b.Index) * BinLength.Milliseconds()
	}
	// A day of bins weighs as much as all before: fouling and topping up move
	// a blank slowly.
	s.BlankBins++
	w := 1 / float64(min(s.BlankBins, 144))
	d := float64(b.OD) - s.Blank
	s.Blank += w * d
	if s.BlankBins == 1 {
		s.BlankNoise = UnknownBlank
		return
	}
	s.BlankNoise = math.Sqrt((1-w)*s.BlankNoise*s.BlankNoise + w*d*d)
}

// unlearn takes back the bins of the time from ms on: what was poured into the
// medium by then, and written down later, is no blank.
func (s *State) unlearn(ms int64) {
	// A probe that was fitted or wiped since brought what was known from there.
	from := binIndex(max(ms, s.Standing, s.Wiped))
	for i := s.Latest; i >= max(from, s.Latest-span+1) && s.BlankBins > 0 && s.Lot == ""; i-- {
		if b, ok := s.Bin(i); ok {
			s.unlearnBin(b)
		}
	}
}

// riseLeast is the rise of od above its lowest hour from which on medium is
// taken for a culture that has begun: what a probe resolves, twice.
const riseLeast = 0.001

// unlearnRise takes back the bins since od was last at its lowest: a culture
// that grew up, or was poured, into what was taken for medium.
func (s *State) unlearnRise() {
	first := max(s.Latest-span+perHour, binIndex(max(s.Standing, s.Wiped))+perHour)
	low, at := math.Inf(1), int32(0)
	for i := first; i <= s.Latest; i++ {
		od, noise, ok := s.hourOD(i)
		if !ok {
			continue
		}
		if od <= low+max(riseLeast, 2*noise) {
			at = i
		}
		low = min(low, od)
	}
	for i := s.Latest; at > 0 && i > at && s.BlankBins > 0; i-- {
		if b, ok := s.Bin(i); ok {
			s.unlearnBin(b)
		}
	}
}

// hourOD is the mean raw od of the hour that ends with index, and its error.
func (s *State) hourOD(index int32) (od, noise float64, ok bool) {
	n := 0.0
	for i := index - perHour + 1; i <= index; i++ {
		if b, kept := s.Bin(i); kept && b.Count > 0 {
			od, noise, n = od+float64(b.OD), noise+float64(b.Noise)*float64(b.Noise), n+1
		}
	}
	return od / n, math.Sqrt(noise) / n, 2*n >= float64(perHour)
}

// unlearnBin is learnBlank backwards.
func (s *State) unlearnBin(b Bin) {
	if b.OD > StandingMost {
		return
	}
	if s.BlankBins == 1 {
		s.Blank, s.BlankNoise, s.BlankBins = 0, UnknownBlank, 0
		return
	}
	w := 1 / float64(min(s.BlankBins, 144))
	s.Blank = (s.Blank - w*float64(b.OD)) / (1 - w)
	d := float64(b.OD) - s.Blank
	s.BlankNoise = math.Sqrt(max(0, (s.BlankNoise*s.BlankNoise-w*d*d)/(1-w)))
	s.BlankBins--
}
