package track

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
)

func counted(at time.Time, field string, v float64) ingest.Entry {
	return ingest.Entry{Vessel: "C01", Kind: ingest.Count, At: at, Written: at, Fields: map[string]ingest.Value{field: ingest.Num(v)}}
}

func refilled(at time.Time, litres float64) ingest.Entry {
	return ingest.Entry{Vessel: "C01", Kind: ingest.Harvest, At: at, Written: at,
		Fields: map[string]ingest.Value{"volume_l": ingest.Num(litres), "refilled": ingest.Bool(true)}}
}

// byHand takes entries in and then lives on to now without any probe.
func byHand(now time.Time, entries ...ingest.Entry) *State {
	s := New()
	for _, e := range entries {
		s.Advance(e.At)
		s.Note(e)
	}
	s.Advance(now)
	return &s
}

func TestGrowthFromCounts(t *testing.T) {
	day := 24 * time.Hour
	s := byHand(start.Add(3*day), inoculate(start), counted(start.Add(time.Hour), "cells_per_ml", 4e5),
		counted(start.Add(day+time.Hour), "cells_per_ml", 4e5*math.Exp(0.6)), counted(start.Add(2*day+time.Hour), "cells_per_ml", 4e5*math.Exp(1.2)))
	e := s.Estimate()
	near(t, "net growth", e.Growth.Likely, 0.6, 1e-9)
	if !e.ByHand || e.Density.Known() || !e.HandAt.Equal(start.Add(2*day+time.Hour)) || e.Phase != analysis.Exponential {
		t.Errorf("by hand %t as of %v, density %v, phase %s", e.ByHand, e.HandAt, e.Density, e.Phase)
	}
	near(t, "cells/mL", e.Cells.Likely, 4e5*math.Exp(1.2), 1)
	// Three counts with 14 % each, a day apart: the slope's error is 0.14/sqrt(2) = 0.10 a day.
	near(t, "width of the growth rate", (e.Growth.High-e.Growth.Likely)/z90, math.Hypot(0.1, 0.1)/math.Sqrt2, 1e-6)
}

// Two counts that are not a day apart tell no rate: the lamp has its hours.
func TestCountsTooCloseTellNoRate(t *testing.T) {
	s := byHand(start.Add(12*time.Hour), inoculate(start), counted(start.Add(time.Hour), "od", 0.1), counted(start.Add(10*time.Hour), "od", 0.2))
	if e := s.Estimate(); e.Growth.Known() {
		t.Errorf("nine hours of light came to %v a day", e.Growth)
	}
	near(t, "od by hand", s.Estimate().Density.Likely, 0.2, 1e-9)
}

// A third out and new medium in is no loss of growth.
func TestRefillIsTakenOutOfCounts(t *testing.T) {
	day := 24 * time.Hour
	od := func(d float64) float64 { return 0.1 * math.Exp(0.5*d) }
	s := byHand(start.Add(3*day), inoculate(start), counted(start, "od", od(0)), refilled(start.Add(day), 6), counted(start.Add(2*day), "od", od(2)*2/3))
	near(t, "net growth over a refill of 6 of 18 L", s.Day.PerDay, 0.5, 1e-9)
}

// A refill after the newest count thins what it said: 12 of 18 L are left.
func TestRefillAfterTheCount(t *testing.T) {
	s := byHand(start.Add(30*time.Hour), inoculate(start), counted(start.Add(24*time.Hour), "od", 0.3), refilled(start.Add(26*time.Hour), 6))
	near(t, "od after the refill", s.Estimate().Density.Likely, 0.2, 1e-9)
}

// The order in which counts are written does not matter, nor that they come
// again, nor that the inoculation is written after them.
func TestCountsInAnyOrder(t *testing.T) {
	day := 24 * time.Hour
	entries := []ingest.Entry{inoculate(start), counted(start.Add(time.Hour), "od", 0.1), counted(start.Add(25*time.Hour), "od", 0.16),
		counted(start.Add(25*time.Hour), "cells_per_ml", 1e6), counted(start.Add(49*time.Hour), "od", 0.27)}
	before := counted(start.Add(-time.Hour), "od", 0.9) // of the lot before
	want := byHand(start.Add(3*day), append([]ingest.Entry{before}, entries...)...).Estimate()
	r := rand.New(rand.NewPCG(4, 4))
	for range 20 {
		shuffled := append(append([]ingest.Entry{before}, entries...), entries...)
		r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		s := New()
		s.Advance(start.Add(3 * day))
		for _, e := range shuffled {
			s.Note(e)
		}
		got := s.Estimate()
		got.PhaseSince, want.PhaseSince = time.Time{}, time.Time{} // when it was noticed
		if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
			t.Fatalf("shuffled:\n%+v\nin order:\n%+v", got, want)
		}
	}
}

func TestProbeComesBeforeHands(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 2, func(d float64) float64 { return 0.1 * math.Exp(0.5*d) })
	s.Note(counted(at, "od", 0.9))
	if e := s.Estimate(); e.ByHand {
		t.Errorf("a count outvotes a probe that tells: density %v", e.Density)
	}
}

// Cells are known from the od once somebody has counted under the probe.
func TestCellsFromOD(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 2, func(d float64) float64 { return 0.1 * math.Exp(0.5*d) })
	s.Note(counted(at.Add(-time.Hour), "cells_per_ml", 8e6*0.1*math.Exp(0.5*(2-1.0/24))))
	grow(&s, at, 1, func(d float64) float64 { return 0.1 * math.Exp(0.5*d) })
	e := s.Estimate()
	near(t, "cells/mL for 8e6 of one od", e.Cells.Likely/(8e6*0.1*math.Exp(1.5)), 1, 0.02)
	if rel := (e.Cells.High/e.Cells.Likely - 1); rel < 0.15 || rel > 0.5 {
		t.Errorf("one count of a hundred cells makes cells known within %.0f %%", 100*rel)
	}
}

func TestFittedBlank(t *testing.T) {
	s := New()
	s.Note(ingest.Entry{Kind: ingest.FitSensor, At: start, Fields: map[string]ingest.Value{"blank_od": ingest.Num(0.031)}})
	s.Note(inoculate(start.Add(time.Hour)))
	grow(&s, start.Add(time.Hour), 1, func(float64) float64 { return 0.131 })
	e := s.Estimate()
	near(t, "density over a fitted blank", e.Density.Likely, 0.1, 0.001)
	if !e.BlankLearnt || e.Density.High-e.Density.Low > 0.01 {
		t.Errorf("a fitted blank leaves the density at %v, learnt %t", e.Density, e.BlankLearnt)
	}
}

// The volume at the start was not said: that of the vessel serves; without
// either, counts before a refill cannot be held against those after.
func TestRefillWithoutVolumeAtTheStart(t *testing.T) {
	day := 24 * time.Hour
	od := func(d float64) float64 { return 0.1 * math.Exp(0.5*d) }
	entry := inoculate(start)
	delete(entry.Fields, "volume_l")
	list := []ingest.Entry{entry, counted(start, "od", od(0)), refilled(start.Add(day), 9), counted(start.Add(2*day), "od", od(2)/2)}
	s := New()
	s.SizeL = 18
	for _, e := range list {
		s.Advance(e.At)
		s.Note(e)
	}
	near(t, "net growth over a refill of half the vessel", s.Day.PerDay, 0.5, 1e-9)
	if e := byHand(start.Add(3*day), list...).Estimate(); e.Growth.Known() {
		t.Errorf("half of nobody knows what came to %v a day", e.Growth)
	}
}

// A count that finds nothing is a count.
func TestCountOfNone(t *testing.T) {
	s := byHand(start.Add(50*time.Hour), inoculate(start), counted(start.Add(time.Hour), "cells_per_ml", 4e6), counted(start.Add(48*time.Hour), "cells_per_ml", 0))
	if e := s.Estimate(); !(e.Cells.Likely < 1e4) || !(e.Growth.Likely < -1) {
		t.Errorf("none of four million left: %v, growth %v", e.Cells, e.Growth)
	}
}
