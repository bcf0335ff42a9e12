package track

import (
	"math"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Take takes in one reading. Readings must come in order of their time; one
// that repeats the time of its predecessor is left out.
func (s *State) Take(r ingest.Reading) {
	ms := millis(r.At)
	n := &s.Newest[r.Quantity]
	if n.At != 0 && ms <= n.At {
		return
	}
	s.Advance(r.At)
	n.take(ms, r.Value)
	switch r.Quantity {
	case unit.OD:
		s.raw(ms, r.Value)
	case unit.PH:
		s.Acidity.take(ms, n.Median())
	}
}

// Advance says that time has come to t: bins that are over are closed.
func (s *State) Advance(t time.Time) {
	ms := millis(t)
	if ms <= s.At {
		return
	}
	s.At = ms
	switch {
	case s.RawCount > 0 && binIndex(ms) > s.RawIndex:
		s.close()
	case s.RawCount == 0:
		s.standIn(ms)
	}
}

// staleAfter is the gap after which the values before it say nothing of now,
// so that no median is taken over it, ms.
const staleAfter = int64(20 * time.Minute / time.Millisecond)

func (n *Newest) take(ms int64, v float64) {
	if n.At == 0 {
		n.First = ms
	}
	if n.At != 0 && v == n.Value {
		n.Run = min(n.Run, math.MaxUint16-1) + 1
	} else {
		n.endRun()
		n.Run, n.RunSince = 1, ms
	}
	if ms-n.At > staleAfter {
		n.Filled = 0
	}
	if n.Filled > 0 {
		copy(n.Before[:], n.Before[1:])
		n.Before[recent-2] = float32(n.Value)
	}
	n.At, n.Value = ms, v
	n.Filled = min(n.Filled+1, recent)
}

// endRun counts the run that ends: it was life, not a stuck probe. What is
// counted for long is halved, so that it goes on to fit.
func (n *Newest) endRun() {
	seen, same := int(n.Seen)+int(n.Run), int(n.Same)+max(int(n.Run)-1, 0)
	for seen > math.MaxUint16 {
		seen, same = seen/2, same/2
	}
	n.Seen, n.Same = uint16(seen), uint16(same)
}

// Median returns the median of the newest values, NaN where there are none.
func (n *Newest) Median() float64 {
	if n.Filled == 0 {
		return math.NaN()
	}
	var v [recent]float32
	copy(v[:], n.Before[:])
	v[recent-1] = float32(n.Value)
	part := v[recent-int(n.Filled):]
	small(part)
	return float64(part[len(part)/2])
}

// raw takes a raw od in. Where more come than are kept, every other one of them
// goes and only every other is taken from there on, so that they stay evenly
// spread over their bin.
func (s *State) raw(ms int64, v float64) {
	s.RawIndex = binIndex(ms)
	if s.RawPassed++; s.RawPassed < s.RawEvery {
		return
	}
	if int(s.RawCount) == rawMost {
		for i := range rawMost / 2 {
			s.Raw[i] = s.Raw[2*i]
		}
		s.RawCount = rawMost / 2
		s.RawEvery = 2 * max(1, min(s.RawEvery, 64))
	}
	s.RawPassed = 0
	s.Raw[s.RawCount] = pack(float32(v))
	s.RawCount++
}

// close brings the raw values of the filling bin to one bin.
func (s *State) close() {
	var buf [rawMost]float32
	raw := buf[:s.RawCount]
	for i := range raw {
		raw[i] = s.Raw[i].float()
	}
	slices.Sort(raw)
	mid := median(raw)
	b := Bin{Index: s.RawIndex, Count: int16(s.RawCount), OD: mid, Noise: spread(raw, mid) / float32(math.Sqrt(float64(len(raw)))), Lamp: s.lamp()}
	s.RawCount, s.RawEvery, s.RawPassed = 0, 0, 0
	s.put(b)
	s.beside(b)
	s.learnBlank(b)
	s.presume(b)
	s.closed(b)
}

// closed works on what hangs on the newest bin, whichever wavelength it is of.
func (s *State) closed(b Bin) {
	s.findStep(b)
	if s.Working() {
		s.settleWork()
	}
	s.renew()
}

// median of a sorted, non-empty slice.
func median(v []float32) float32 {
	n := len(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return (v[n/2-1] + v[n/2]) / 2
}

// spread is the robust standard deviation of sorted values about mid: 1.4826
// times the median absolute deviation, consistent for the normal
// distribution (Rousseeuw and Croux 1993). Few values tell little of it, so
// that it is never below what three decimals of od can resolve.
func spread(sorted []float32, mid float32) float32 {
	const resolution = 0.0005
	var dev [rawMost]float32
	d := dev[:len(sorted)]
	for i, v := range sorted {
		d[i] = float32(math.Abs(float64(v - mid)))
	}
	slices.Sort(d)
	return max(1.4826*median(d), resolution)
}

// StandingMost is the greatest od that a vessel without a lot may show and
// still be taken for standing medium that nobody entered: a tenth of a vessel
// inoculated from a dark one already shows more (common practice: a tenth, at
// an od of 0.5 or so).
const StandingMost = 0.04

// Unnamed is the lot that is presumed where nobody entered one.
const Unnamed = "unnamed lot"

// presumeAfter is how long a vessel without a lot must be too dense for
// standing medium before one is presumed: longer than an inoculation waits to
// be written down.
const presumeAfter = 2 * time.Hour

// overFor is how long a vessel may stand as it is after its lot has ended or
// it was emptied, before what its probe sees is taken for another lot.
const overFor = 24 * time.Hour

// presume begins a lot that nobody entered: what grew in the room before the
// watch began is watched too. An entry that comes later names it.
func (s *State) presume(b Bin) {
	now := int64(b.Index) * BinLength.Milliseconds()
	lately := now-max(s.Ended, s.Dumped) < overFor.Milliseconds()
	if s.Lot != "" && s.Ended == 0 || lately || b.OD <= StandingMost {
		s.Dense = 0
		return
	}
	if s.Dense++; s.Dense < int32(presumeAfter/BinLength) {
		return
	}
	s.unlearnRise()
	s.begin(Unnamed, int64(b.Index+1-s.Dense)*BinLength.Milliseconds())
}
