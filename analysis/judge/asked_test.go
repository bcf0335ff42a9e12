package judge

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// A lamp that is dim by day is so through the night, until its next hours tell;
// one that burned by night is so through the day.
func TestLampTroubleStandsWhereNothingTells(t *testing.T) {
	half := func(at time.Time) float64 { return lampOf(ingest.Square, 45)(at) }
	normal := lampOf(ingest.Square, 100)
	s := newStage(t)
	s.play(72*time.Hour+12*time.Hour, unit.Light, normal)
	s.play(30*time.Minute, unit.Light, half)
	s.want("dim at noon", analysis.Light, 0, true)
	for h := range 23 { // evening, night and morning
		s.play(time.Hour, unit.Light, half)
		if !s.has(analysis.Light, 0) {
			t.Errorf("the dim lamp was found well %d h later", h+1)
		}
	}
	s.play(30*time.Minute, unit.Light, normal)
	s.want("mended at noon", analysis.Light, 0, false)

	s.play(10*time.Hour+30*time.Minute, unit.Light, normal) // 23:30
	s.play(20*time.Minute, unit.Light, steady(100))
	s.want("lit at night", analysis.Light, 0, true)
	s.play(12*time.Hour+10*time.Minute, unit.Light, func(time.Time) float64 { return 100 })
	s.want("the noon after it hung", analysis.Light, 0, true)
	s.play(8*time.Hour, unit.Light, normal) // 19:00
	s.want("dark in its next dark hours", analysis.Light, 0, false)
}

// stepping plays a culture whose density is multiplied at one time, with people
// there from eight to six, and returns when the probe first called and when it
// was first asked about.
func stepping(t *testing.T, at time.Duration, ratio float64, enter func(s *stage)) (called, asked time.Time) {
	t.Helper()
	s := newStage(t)
	r := rand.New(rand.NewPCG(9, 9))
	staffed := func(at time.Time) bool { return at.Hour() >= 8 && at.Hour() < 18 }
	log, stepped := math.Log(0.2), false
	for end := dawn.Add(at + 12*time.Hour); s.now.Before(end); {
		if !stepped && s.now.Sub(dawn) >= at {
			log, stepped = log+math.Log(ratio), true
			if enter != nil {
				enter(s)
			}
		}
		if s.now.Minute()%2 == 0 {
			s.track.Take(ingest.Reading{Quantity: unit.OD, Value: math.Exp(log) + 0.001*r.NormFloat64(), At: s.now})
		}
		s.now = s.now.Add(time.Minute)
		for _, f := range s.judge.Step(Case{Vessel: &s.vessel, Track: &s.track, Now: s.now, Staffed: staffed}) {
			switch {
			case f.Quantity != unit.OD:
			case f.Class == analysis.Sensor && called.IsZero():
				called = s.now
			case f.Class == analysis.Notice && asked.IsZero():
				asked = s.now
			}
		}
	}
	return called, asked
}

func TestStepsAreAskedAbout(t *testing.T) {
	day := 24 * time.Hour
	harvest := func(s *stage) {
		s.track.Note(ingest.Entry{Vessel: "C01", Kind: ingest.Harvest, At: s.now, Fields: map[string]ingest.Value{"volume_l": ingest.Num(5)}})
	}
	for _, c := range []struct {
		name     string
		at       time.Duration
		ratio    float64
		enter    func(s *stage)
		asked    bool
		from, to time.Duration // within which it calls, after the step; 0: it does not
	}{
		{"a third is gone at night", 2*day + 2*time.Hour, 0.6, nil, false, 10 * time.Minute, 40 * time.Minute},
		{"a third is gone at nine", 2*day + 9*time.Hour, 0.6, nil, true, 5 * time.Hour, 6 * time.Hour},
		{"a third is gone at four: the last goes home at six", 2*day + 16*time.Hour, 0.6, nil, true, 119 * time.Minute, 125 * time.Minute},
		{"nearly all is gone at nine", 2*day + 9*time.Hour, 0.05, nil, false, 45 * time.Minute, 80 * time.Minute},
		{"a harvest that was entered", 2*day + 9*time.Hour, 0.6, harvest, false, 0, 0},
	} {
		called, asked := stepping(t, c.at, c.ratio, c.enter)
		begin := dawn.Add(c.at)
		if got := !called.IsZero(); got != (c.to > 0) || got && (called.Sub(begin) < c.from || called.Sub(begin) > c.to) {
			t.Errorf("%s: called %t after %v", c.name, got, called.Sub(begin))
		}
		if asked.IsZero() == c.asked {
			t.Errorf("%s: asked by day %t", c.name, !asked.IsZero())
		}
	}
}

// Who draws wipes the probe too: the draw explains the step, whichever of the
// two is written first.
func TestTwoEntriesExplainAStep(t *testing.T) {
	for _, first := range []ingest.Kind{ingest.Harvest, ingest.WipeSensor} {
		called, asked := stepping(t, 2*24*time.Hour+9*time.Hour, 0.6, func(s *stage) {
			wipe := ingest.Entry{Vessel: "C01", Kind: ingest.WipeSensor, At: s.now.Add(3 * time.Minute)}
			draw := ingest.Entry{Vessel: "C01", Kind: ingest.Harvest, At: s.now, Fields: map[string]ingest.Value{"volume_l": ingest.Num(5)}}
			if first == ingest.Harvest {
				s.track.Note(draw)
			}
			s.track.Note(wipe)
			if first != ingest.Harvest {
				s.track.Note(draw)
			}
		})
		if !called.IsZero() || !asked.IsZero() {
			t.Errorf("%s written first: called %v, asked %v", first, called, asked)
		}
	}
}

// A thermometer that was mended is not called cold by the last values it sent
// while it was off.
func TestMendedThermometer(t *testing.T) {
	s := newStage(t)
	s.play(2*time.Hour, unit.Temperature, steady(20))
	s.play(time.Hour, unit.Temperature, steady(-127))
	s.want("off", analysis.Sensor, unit.Temperature, true)
	for range 30 {
		s.play(time.Minute, unit.Temperature, steady(20))
		if s.has(analysis.Temperature, 0) {
			t.Fatalf("at %s: %+v", s.now, s.found)
		}
	}
}
