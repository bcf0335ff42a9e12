package track

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// A list of all bins that ever were tells what the packed ones must.
func TestBinsAgainstAList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		s := New()
		all := map[int32]Bin{}
		index := int32(3 + r.IntN(6))
		for range 1 + r.IntN(700) {
			index++
			if r.IntN(60) == 0 {
				index += int32(r.IntN(400))
			}
			b := Bin{Index: index, Count: int16(1 + r.IntN(80)), Lamp: int8(r.IntN(3)),
				OD: float32(3*r.Float64() - 0.01), Noise: float32(2e-5 + 0.1*r.Float64())}
			s.put(b)
			all[index] = b
		}
		for i := index - span - 3; i <= index+3; i++ {
			got, ok := s.Bin(i)
			if i > index-fine {
				checkBin(t, got, ok, all[i])
			} else if i > index-span && i/perHalf == (i+perHalf-1)/perHalf { // the first of a half hour that is whole
				checkHalf(t, &s, i, all)
			} else if i <= index-span && ok {
				t.Fatalf("bin %d is kept with %d the newest", i, index)
			}
		}
	})
}

func checkBin(t *rapid.T, got Bin, ok bool, want Bin) {
	if !ok {
		if want.Index > 0 {
			t.Fatalf("bin %d is lost", want.Index)
		}
		return
	}
	if got.Index != want.Index || got.Count != min(want.Count, 63) || got.Lamp != want.Lamp ||
		math.Abs(float64(got.OD-want.OD)) > math.Abs(float64(want.OD))/65536 || math.Abs(float64(got.Noise/want.Noise-1)) > 0.03 {
		t.Fatalf("kept %+v, want %+v", got, want)
	}
}

func checkHalf(t *rapid.T, s *State, first int32, all map[int32]Bin) {
	var od []float32
	lit3, known := 0, 0
	for i := first; i < first+perHalf; i++ {
		if b, ok := all[i]; ok {
			od = append(od, b.OD)
			if b.Lamp == lit {
				lit3++
			}
			if b.Lamp != darkUnknown {
				known++
			}
		}
	}
	if first+perHalf > s.oldest() {
		return // in part among the fine ones
	}
	for k := range perHalf {
		got, ok := s.Bin(first + k)
		if ok != (int(k) < len(od)) || ok && int(got.Count) != len(od) {
			t.Fatalf("bin %d of %d in its half hour: kept %t, %+v", k, len(od), ok, got)
		}
		if ok {
			slices.Sort(od)
			if want := median(od); math.Abs(float64(got.OD-want)) > 3e-5*math.Abs(float64(want))+1e-7 {
				t.Fatalf("half hour at %d shows %v, want %v", first, got.OD, want)
			}
		}
	}
	if share, ok := s.shone(first); ok != (known == 3) || ok && math.Abs(share-float64(lit3)/3) > 1e-9 {
		t.Fatalf("half hour at %d: lit %v, %t; %d of %d bins were", first, share, ok, lit3, known)
	}
}

// What was seen more than eight hours ago is as well told as what is new, at
// every bin of the hour: a course that bends where the lamp goes out.
func TestLevelOfOldHours(t *testing.T) {
	course := func(d float64) float64 {
		if d < 1 {
			return math.Log(0.1) + 0.6*d
		}
		return math.Log(0.1) + 0.6 - 0.2*(d-1)
	}
	s := New()
	s.Note(inoculate(start))
	grow(&s, start, 2.4, func(d float64) float64 { return math.Exp(course(d)) })
	first := binIndex(millis(start))
	for i := s.Latest - 280; i <= s.Latest; i++ {
		if i-perHour < first+perHalf {
			continue
		}
		level, sigma, ok := s.Level(i, perHour)
		middle := (float64(i-first) - 2) / float64(perDay) // of six bins that end with i
		within := 0.0005
		if math.Abs(middle-1) < 1.0/24 {
			within = 0.0045 // half hours cut the corner by an eighth of an hour of 0.8 a day
		}
		if !ok || math.Abs(level-course(middle)) > within {
			t.Fatalf("level of the hour that ends %d bins back: %.5f, %t, want %.5f", s.Latest-i, level, ok, course(middle))
		}
		if !(sigma > 0 && sigma < 0.01) {
			t.Fatalf("its error is %v", sigma)
		}
	}
}

// A harvest is taken out of the bins after it whenever it is asked, and out of
// their half hours.
func TestStepStaysTakenOutAsItAges(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 1, func(float64) float64 { return 0.3 })
	s.Note(ingest.Entry{Vessel: "C01", Kind: ingest.Harvest, At: at, Written: at})
	for range 11 {
		at = grow(&s, at, 0.125, func(float64) float64 { return 0.18 })
		for i := s.Latest - 6*perHour; i > s.Latest-span+perHour && i > binIndex(millis(start))+2*perHour; i -= 5 {
			if level, _, ok := s.Level(i, perHour); ok && math.Abs(level-math.Log(0.3)) > 0.01 {
				t.Fatalf("%d bins back the level is %.4f, want %.4f", s.Latest-i, level, math.Log(0.3))
			}
		}
	}
}

// More steps than are kept: what lies before the one that is given up tells
// nothing any more, rather than something wrong.
func TestTooManySteps(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 1, func(float64) float64 { return 0.3 })
	od := 0.3
	for range taken + 2 {
		od = 0.5 - od
		at = grow(&s, at, 2.0/24, func(float64) float64 { return od })
	}
	if s.From == 0 {
		t.Fatalf("%d steps of %d are kept: %+v", taken+2, taken, s.Taken)
	}
	for i := s.Latest - span + perHour; i <= s.Latest; i++ {
		if level, _, ok := s.Level(i, 3); ok && math.Abs(level-math.Log(0.3)) > 0.02 {
			t.Fatalf("%d bins back the level is %.4f, want %.4f or nothing", s.Latest-i, level, math.Log(0.3))
		}
	}
}

// However fast a probe is read, what is kept of a bin is spread over all of it.
func TestRawIsSpreadOverItsBin(t *testing.T) {
	for _, every := range []time.Duration{time.Second, 3 * time.Second, 10 * time.Second, 2 * time.Minute} {
		s := New()
		from := start.Truncate(BinLength)
		for at := from; at.Before(from.Add(BinLength)); at = at.Add(every) {
			s.Take(ingest.Reading{Quantity: unit.OD, At: at, Value: at.Sub(from).Seconds()})
		}
		raw := make([]float64, s.RawCount)
		for i := range raw {
			raw[i] = float64(s.Raw[i].float())
		}
		least := min(int(BinLength/every), rawMost/2)
		if len(raw) < least || !slices.IsSorted(raw) || raw[0] != 0 || raw[len(raw)-1] < 600*(1-2.0/float64(least))-1 {
			t.Errorf("every %v: %d kept, %v", every, len(raw), raw)
		}
		for i := 2; i < len(raw); i++ {
			if a, b := raw[i]-raw[i-1], raw[1]-raw[0]; math.Abs(a-b) > 0.01*b+0.01 {
				t.Errorf("every %v: %v s after %v s", every, a, b)
			}
		}
	}
}

// What is counted for a lifetime still fits, and repeats keep their share.
func TestCountsOfALifetimeFit(t *testing.T) {
	var n Newest
	for i := range int64(400000) {
		n.take(i+1, float64(i/4))
	}
	if share := float64(n.Same) / float64(n.Seen); n.Seen < 1000 || math.Abs(share-0.75) > 0.01 || n.Run != 4 {
		t.Errorf("%d seen, %d the same, share %.3f, run %d; want a share of 0.75 and a run of 4", n.Seen, n.Same, share, n.Run)
	}
	for i := range int64(100000) {
		n.take(i+1e6, 7)
	}
	if n.Run != math.MaxUint16 {
		t.Errorf("a run of 100,000 is %d long, want it to end at the most that fits", n.Run)
	}
}

// A state that was written down and read again goes on bit for bit.
func TestResumedBitForBit(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	s := New()
	at := grow(&s, start, 0.3, func(float64) float64 { return 0.01 + 0.001*r.NormFloat64() })
	s.Note(inoculate(at))
	at = grow(&s, at, 1.63, func(d float64) float64 { return noise(r, 0.1*math.Exp(0.4*d)) })
	s.Note(counted(at, "cells_per_ml", 3e6))
	s.Note(refilled(at, 5))
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(s); err != nil {
		t.Fatal(err)
	}
	var again State
	if err := gob.NewDecoder(&buf).Decode(&again); err != nil {
		t.Fatal(err)
	}
	for range 40 {
		if fmt.Sprintf("%#v", s) != fmt.Sprintf("%#v", again) {
			t.Fatal("the two states part")
		}
		od := 0.2 + 0.01*r.NormFloat64()
		next := grow(&s, at, 0.02, func(float64) float64 { return od })
		grow(&again, at, 0.02, func(float64) float64 { return od })
		at = next
	}
}

func TestNth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-2, 2), 1, 60).Draw(t, "v")
		k := rapid.IntRange(0, len(v)-1).Draw(t, "k")
		sorted := slices.Clone(v)
		slices.Sort(sorted)
		if got := nth(v, k); got != sorted[k] {
			t.Fatalf("place %d: %v, want %v", k, got, sorted[k])
		}
		small(v)
		if !slices.Equal(v, sorted) {
			t.Fatalf("sorted: %v", v)
		}
	})
}

// BenchmarkStep is a step of a day of readings with noise and bubbles, od
// alone, so that nothing else shares the bins: one every 10 s, one every 2 min.
func BenchmarkStep(b *testing.B) {
	for _, every := range []time.Duration{10 * time.Second, 2 * time.Minute} {
		b.Run(every.String(), func(b *testing.B) {
			r := rand.New(rand.NewPCG(1, 1))
			s := New()
			s.Note(inoculate(start))
			at := grow(&s, start, 2.2, func(d float64) float64 { return noise(r, 0.1*math.Exp(0.3*d)) })
			day := make([]float64, 24*time.Hour/every)
			for i := range day {
				day[i] = noise(r, 0.2)
			}
			b.ReportAllocs()
			b.ResetTimer()
			n := 0
			for b.Loop() {
				at = at.Add(every)
				s.Take(ingest.Reading{Quantity: unit.OD, At: at, Value: day[n%len(day)]})
				n++
			}
		})
	}
}
