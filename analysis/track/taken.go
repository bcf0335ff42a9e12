package track

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// taken is how many steps are kept: more in two days is work that no growth can
// be read through.
const taken = 8

// Taken is a step that was taken out of the course.
type Taken struct {
	Index int32   // the first bin after it, 0: none
	Shift float32 // what is added to the log density from there on
	Error float32 // its standard error
}

// took notes a step that was taken out from the bin of index on. One that
// changes no course takes the place of another of that kind before it: the
// error of a wiped window, or of the change to another probe.
func (s *State) took(index int32, shift, sigma float64) {
	t := Taken{Index: index, Shift: float32(shift), Error: float32(sigma)}
	if last := &s.Taken[taken-1]; shift == 0 && last.Shift == 0 && last.Index != 0 && last.Index <= index {
		last.Index, last.Error = index, max(last.Error, t.Error)
		return
	}
	var room [taken + 1]Taken
	copy(room[:], s.Taken[:])
	i, _ := slices.BinarySearchFunc(room[:taken], t, func(a, b Taken) int { return cmp.Compare(a.Index, b.Index+1) })
	copy(room[i+1:], s.Taken[i:])
	room[i] = t
	if first := room[0]; first.Shift != 0 {
		s.From = max(s.From, first.Index) // nobody knows any more what it changed
	}
	copy(s.Taken[:], room[1:])
	s.Shift += t.Shift
}

// shift is what is to be added to the log density of a bin.
func (s *State) shift(index int32) float32 { return s.Shift - s.between(index, math.MaxInt32) }

// between is what was taken out after the bin of index from, up to that of to.
func (s *State) between(from, to int32) float32 {
	sum := float32(0)
	for i := taken - 1; i >= 0 && s.Taken[i].Index > from; i-- {
		if s.Taken[i].Index <= to {
			sum += s.Taken[i].Shift
		}
	}
	return sum
}

// stepVariance is the variance that the steps of the last day bring in.
func (s *State) stepVariance() float64 {
	from := binIndex(s.At - 25*time.Hour.Milliseconds())
	sum := 0.0
	for _, t := range s.Taken {
		if t.Index > from {
			sum += float64(t.Error) * float64(t.Error)
		}
	}
	return sum
}
