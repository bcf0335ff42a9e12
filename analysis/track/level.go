package track

import "math"

// LogDensity returns the logarithm of the density of a bin with all steps
// taken out, and its standard error; ok is false where the density does not
// stand out of noise and blank by three standard errors.
func (s *State) LogDensity(b Bin) (log, sigma float64, ok bool) {
	if b.Count == 0 {
		return math.NaN(), math.NaN(), false
	}
	log, sigma, ok = s.logOf(float64(b.OD), float64(b.Noise))
	return log + float64(b.Shift), sigma, ok
}

// logOf is the logarithm of the density that an od shows, and its error.
func (s *State) logOf(od, noise float64) (log, sigma float64, ok bool) {
	density, sigma, ok := s.told(od, noise)
	return math.Log(density), sigma, ok
}

// told is the density that an od shows and its relative error, NaN where it does
// not stand out.
func (s *State) told(od, noise float64) (density, sigma float64, ok bool) {
	d := od - s.Blank
	blank := s.BlankNoise / 3
	noise2 := noise*noise + blank*blank
	if d <= 0 || d*d < 9*noise2 {
		return math.NaN(), math.NaN(), false
	}
	steep := 1.0
	if s.Bend > 0 {
		steep = s.steep(od)
	}
	return d * steep, math.Sqrt(noise2) / d * steep, true
}

// levelMost is up to how many bins, all of them kept singly, a level is the
// median of.
const levelMost = 24

// Level returns the log density of the n bins that end with index, and its
// standard error; ok is false where fewer than half of them tell. It is the
// median of the bins, or, where they are not all kept singly any more, the mean
// of their half hours, each as far as it lies within.
func (s *State) Level(index, n int32) (log, sigma float64, ok bool) {
	first := index - n + 1
	if first < s.oldest() || n > levelMost {
		return s.levelOfHalves(first, index)
	}
	var seen, noise [levelMost]float64
	k := 0
	shift := s.shift(index)
	for i := max(first, s.starts()); i <= min(index, s.Latest); i++ {
		b := *s.fineAt(i)
		if b.count() == 0 {
			continue
		}
		if d, e, fine := s.told(float64(b.OD.float()), float64(noises[b.Noise])); fine {
			if other := s.shift(i); other != shift { // a step since
				d *= math.Exp(float64(other - shift))
			}
			seen[k], noise[k] = d, e
			k++
		}
	}
	if k == 0 || int32(2*k) < n {
		return math.NaN(), math.NaN(), false
	}
	// The middle of the logarithms is the logarithm of the middle: one of them
	// in place of one for each bin.
	small(seen[:k])
	small(noise[:k])
	log = math.Log(seen[k/2]*seen[(k-1)/2]) / 2
	// 1.25: the median's standard error over the mean's for normal noise.
	return log + float64(shift), 1.25 * noise[k/2] / math.Sqrt(float64(k)), true
}

// levelOfHalves is the level of the bins from first to last by half hours.
func (s *State) levelOfHalves(first, last int32) (log, sigma float64, ok bool) {
	var sum, noise, weight float64
	starts := s.starts()
	for half := first / perHalf; half <= last/perHalf; half++ {
		from := half * perHalf
		if from < starts || from <= s.Latest-span-perHalf {
			continue
		}
		h := s.halfAt(half)
		if h.told() == 0 {
			continue
		}
		l, e, fine := s.logOf(float64(h.OD.float()), float64(noises[h.Noise]))
		if !fine {
			continue
		}
		inside := min(from+perHalf-1, last) - max(from, first) + 1
		w := float64(inside*h.told()) / float64(perHalf) // in bins
		sum += w * (l + float64(s.shift(from+perHalf-1)))
		noise += w * e
		weight += w
	}
	if 2*weight < float64(last-first+1) {
		return math.NaN(), math.NaN(), false
	}
	// 1.25: of medians, as of single bins.
	return sum / weight, 1.25 * noise / weight / math.Sqrt(weight), true
}

// starts is the first bin that lies wholly within the present lot and tells of
// it.
func (s *State) starts() int32 {
	if s.Since == 0 {
		return math.MaxInt32
	}
	perBin := BinLength.Milliseconds()
	return max(int32((s.Since+perBin-1)/perBin), s.From, 1)
}

// within reports whether the bin lies wholly within the present lot.
func (s *State) within(b Bin) bool { return b.Index >= s.starts() }

// thick is the density above blank in the hour that ends with index.
func (s *State) thick(index int32) (float64, bool) {
	sum, weight := 0.0, int32(0)
	for i := max(index-perHour+1, s.starts()); i <= min(index, s.Latest); {
		var od od24
		w, tells := int32(1), false
		if i >= s.oldest() {
			b := *s.fineAt(i)
			od, tells = b.OD, b.count() > 0
		} else {
			h := s.halfAt(i / perHalf)
			od, tells = h.OD, h.told() > 0
			w = min(perHalf-i%perHalf, index-i+1)
		}
		i += w
		if d := s.density(float64(od.float())); tells && d > 0 {
			sum += float64(w) * d
			weight += w
		}
	}
	if weight == 0 {
		return 0, false
	}
	return sum / float64(weight), true
}
