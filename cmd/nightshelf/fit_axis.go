package main

import (
	"math"
	"slices"
	"strconv"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
)

// plotScale brings a value to a place on a picture.
type plotScale struct {
	lo, hi float64 // values at the ends, after the logarithm where log is set
	a, b   float64 // places of lo and hi
	log    bool
}

func (s plotScale) at(v float64) float64 {
	if s.log {
		v = math.Log(v)
	}
	// Halves, for the ends may lie further apart than numbers go.
	f := (v/2 - s.lo/2) / (s.hi/2 - s.lo/2)
	if math.IsNaN(f) {
		f = 0.5
	}
	return s.a + min(max(f, 0), 1)*(s.b-s.a)
}

// holds reports whether v has a place.
func (s plotScale) holds(v float64) bool {
	return !math.IsNaN(v) && !math.IsInf(v, 0) && (!s.log || v > 0)
}

// widen makes room where all values are one, or nearly: a flat curve must look
// flat.
func (s *plotScale) widen() {
	if far := math.Max(math.Abs(s.lo), math.Abs(s.hi)); !s.log && s.hi > s.lo && s.hi-s.lo < far/5 {
		middle := s.lo/2 + s.hi/2
		s.lo, s.hi = middle-far/10, middle+far/10
	}
	if !(s.hi > s.lo) {
		room := math.Max(math.Abs(s.lo)/2, 0.5)
		s.lo, s.hi = s.lo-room, s.hi+room
	}
}

// widenTime makes room where all times are one.
func (s *plotScale) widenTime() {
	if !(s.hi > s.lo) {
		s.lo, s.hi = s.lo-0.5, s.hi+0.5
	}
}

// leastFold is from what greatest over least value on a scale is logarithmic.
const leastFold = 4

// valueScale holds the values, and the band as far as it is not far off them.
func valueScale(v []float64, band []analysis.Interval) plotScale {
	lo, hi := slices.Min(v), slices.Max(v)
	s := plotScale{lo: lo, hi: hi, a: plotTop + plotHeight, b: plotTop, log: lo > 0 && hi/leastFold >= lo}
	room := (hi/2 - lo/2) / 2
	low, high := lo-room, hi+room
	if s.log {
		low, high = lo/3, hi*3
	}
	for _, b := range band {
		for _, w := range []float64{b.Low, b.Likely, b.High} {
			if s.holds(w) {
				s.lo, s.hi = min(s.lo, max(w, low)), max(s.hi, min(w, high))
			}
		}
	}
	if s.log {
		s.lo, s.hi = math.Log(s.lo), math.Log(s.hi)
	}
	s.widen()
	edge := (s.hi/2 - s.lo/2) * 0.08
	s.lo, s.hi = math.Max(s.lo-edge, -math.MaxFloat64), math.Min(s.hi+edge, math.MaxFloat64)
	return s
}

// ticks are at most so many round values.
func (s plotScale) ticks(most int) []axisTick {
	if s.log {
		if t := s.powers(most); len(t) > 1 {
			return t
		}
		return nil
	}
	span := s.hi/2 - s.lo/2
	step := math.Pow(10, math.Floor(math.Log10(span))-1)
	if !(step > 0) || math.IsInf(span, 0) {
		return nil
	}
	for _, f := range []float64{1, 2, 5, 10, 20, 50, 100, 200} {
		first, last := math.Ceil(s.lo/(f*step)), math.Floor(s.hi/(f*step))
		if last-first+1 > float64(most) || math.IsNaN(last-first) {
			continue
		}
		var out []axisTick
		for k := first; k <= last && k+1 > k; k++ {
			out = append(out, axisTick{onPage(s.at(k * f * step)), amounts.Digits(k * f * step)})
		}
		return out
	}
	return nil
}

// powers are 1, 2 and 5 times a power of ten, or fewer where those would crowd.
func (s plotScale) powers(most int) []axisTick {
	for _, steps := range [][]float64{{1, 2, 5}, {1, 3}, {1}} {
		var out []axisTick
		for e := math.Floor(s.lo / math.Ln10); e <= math.Ceil(s.hi/math.Ln10) && len(out) <= most; e++ {
			for _, m := range steps {
				if v := m * math.Pow(10, e); math.Log(v) >= s.lo && math.Log(v) <= s.hi {
					out = append(out, axisTick{onPage(s.at(v)), amounts.Digits(v)})
				}
			}
		}
		if len(out) <= most {
			return out
		}
	}
	return nil
}

// onPage writes a coordinate to a tenth.
func onPage(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }
