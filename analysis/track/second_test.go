package track

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// twoProbes plays medium for a day and then a lot that grows 0.6 a day, seen at
// two wavelengths, the second half as strong; od and od2 say what each sends at
// that time, h hours into the lot, and whether it does.
func twoProbes(hours int, od, od2 func(h, true float64) (float64, bool)) State {
	r := rand.New(rand.NewPCG(4, 2))
	s := New()
	fill := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	start := fill.Add(24 * time.Hour)
	s.Note(ingest.Entry{Vessel: "C1", Kind: ingest.Fill, At: fill})
	for at := fill; at.Before(start.Add(time.Duration(hours) * time.Hour)); at = at.Add(2 * time.Minute) {
		if at.Equal(start) {
			s.Note(ingest.Entry{Vessel: "C1", Kind: ingest.Inoculate, At: at, Fields: map[string]ingest.Value{"lot": ingest.Text("A")}})
		}
		h, d := at.Sub(start).Hours(), 0.0
		if h >= 0 {
			d = 0.1 * math.Exp(0.6*h/24)
		}
		for _, p := range []struct {
			q     unit.Quantity
			blank float64
			d     float64
			says  func(h, true float64) (float64, bool)
		}{{unit.OD, 0.02, d, od}, {unit.OD2, 0.01, d / 2, od2}} {
			if v, ok := p.says(h, p.d); ok || h < 0 {
				s.Take(ingest.Reading{Vessel: "C1", Quantity: p.q, Value: p.blank + v + 0.0005*r.NormFloat64(), At: at})
			}
		}
	}
	return s
}

func asIs(_, d float64) (float64, bool) { return d, true }

func TestSecondWavelengthStandsIn(t *testing.T) {
	silent := func(h, d float64) (float64, bool) { return d, h < 48 }
	s := twoProbes(84, silent, asIs)
	e := s.Estimate()
	if e.SecondSince.IsZero() {
		t.Fatal("od was silent for a day and a half, and the second wavelength does not stand in")
	}
	want := 0.1 * math.Exp(0.6*84/24)
	if math.Abs(e.Density.Likely/want-1) > 0.03 {
		t.Errorf("density %.3f, want %.3f", e.Density.Likely, want)
	}
	if !e.Growth.Known() || math.Abs(e.Growth.Likely-0.6) > 0.03 || e.Growth.Low > 0.6 || e.Growth.High < 0.6 {
		t.Errorf("growth %+v, want 0.6", e.Growth)
	}
	// Without it nothing newer is known than when od fell silent.
	alone := twoProbes(84, silent, func(_, d float64) (float64, bool) { return 0, false })
	if behind := s.Latest - alone.Latest; !alone.Estimate().SecondSince.IsZero() || behind < 35*perHour {
		t.Errorf("with od alone, silent for a day and a half: the newest bin lies only %d behind", behind)
	}
}

func TestWavelengthsThatPart(t *testing.T) {
	for _, c := range []struct {
		name    string
		od, od2 func(h, d float64) (float64, bool)
		want    float64
	}{
		{"as ever", asIs, asIs, 0},
		{"od reads a third too much for three hours", func(h, d float64) (float64, bool) {
			if h > 69 {
				d *= 4. / 3
			}
			return d, true
		}, asIs, -0.25},
		{"the other does", asIs, func(h, d float64) (float64, bool) {
			if h > 69 {
				d *= 4. / 3
			}
			return d, true
		}, 1. / 3},
	} {
		s := twoProbes(72, c.od, c.od2)
		e := s.Estimate()
		if !e.SecondSince.IsZero() || math.Abs(e.Apart-c.want) > 0.04 {
			t.Errorf("%s: apart by %.2f, want %.2f; second since %v", c.name, e.Apart, c.want, e.SecondSince)
		}
	}
	one := twoProbes(72, asIs, func(_, _ float64) (float64, bool) { return 0, false })
	if e := one.Estimate(); !math.IsNaN(e.Apart) {
		t.Errorf("with one wavelength: apart by %v", e.Apart)
	}
}

func TestAcidity(t *testing.T) {
	s := New()
	begin := time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
	for at := begin; at.Before(begin.Add(50 * time.Hour)); at = at.Add(5 * time.Minute) {
		ph := 8.4 + 0.6*math.Sin(2*math.Pi*float64(at.Hour()*60+at.Minute()-360)/1440)
		if at.Minute() == 25 {
			ph = 14 // a probe in the air
		}
		s.Take(ingest.Reading{Vessel: "C1", Quantity: unit.PH, Value: ph, At: at})
		switch e := s.Estimate(); at.Sub(begin) {
		case 12 * time.Hour:
			if !math.IsNaN(e.PHSwing) || math.Abs(e.PHHighest-9) > 0.01 {
				t.Errorf("after half a day: swing %v, highest %v", e.PHSwing, e.PHHighest)
			}
		case 20 * time.Hour:
			if !math.IsNaN(e.PHSwing) {
				t.Errorf("a part of a day counts as a whole one: %v", e.PHSwing)
			}
		case 40 * time.Hour:
			if math.Abs(e.PHSwing-1.2) > 0.02 {
				t.Errorf("swing of a whole day %v, want 1.2", e.PHSwing)
			}
		}
	}
}
