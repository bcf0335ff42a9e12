package judge

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// played is one culture under a lamp from six to six.
type played struct {
	begins      float64                 // od, 0.03 at least
	light, dark float64                 // 1/d
	from        float64                 // day from which rate is added
	rate        func(h float64) float64 // 1/d, hours after from
	film        float64                 // od a day from then on
	air         func(at time.Time) float64
	staffed     func(at time.Time) bool
	days        float64
	harvest     float64 // od
}

// play returns what was found of each class, and when it was first.
func (p played) play(t *testing.T) map[analysis.Class]time.Time {
	t.Helper()
	s := newStage(t)
	s.vessel.HarvestOD = p.harvest
	r := rand.New(rand.NewPCG(27, 18))
	lamp := lampOf(ingest.Square, 100)
	found := map[analysis.Class]time.Time{}
	log, settled := math.Log(math.Max(p.begins, 0.03)), 0.0
	for end := s.now.Add(time.Duration(p.days * 24 * float64(time.Hour))); s.now.Before(end); {
		age := s.now.Sub(dawn).Hours() / 24
		if s.now.Minute()%2 == 0 {
			pace := p.dark
			if lamp(s.now) > 50 {
				pace = p.light
			}
			film := 0.0
			if age >= p.from {
				film = p.film * (age - p.from)
				if p.rate != nil {
					pace += p.rate(24 * (age - p.from))
				}
			}
			log += pace * 2 / (24 * 60)
			air := 4.0
			if p.air != nil {
				air = p.air(s.now)
			}
			if air < 1 { // cells sink within some hours, and come up in minutes
				settled += (0.5 - settled) * 2 / (4 * 60)
			} else {
				settled -= settled * 2 / 10
			}
			od := math.Exp(log)*(1-settled) + film + 0.0015*r.NormFloat64()
			for _, v := range []struct {
				q     ingest.Quantity
				value float64
			}{{unit.OD, od}, {unit.Light, lamp(s.now)}, {unit.Airflow, air + 0.02*r.NormFloat64()}, {unit.Temperature, 20 + 0.05*r.NormFloat64()}} {
				s.track.Take(ingest.Reading{Quantity: v.q, Value: v.value, At: s.now})
			}
		}
		s.now = s.now.Add(time.Minute)
		for _, f := range s.judge.Step(Case{Vessel: &s.vessel, Track: &s.track, Now: s.now, Staffed: p.staffed}) {
			if _, known := found[f.Class]; !known {
				found[f.Class] = s.now
			}
		}
	}
	return found
}

func TestCultureFindings(t *testing.T) {
	dies := func(rate float64) func(float64) float64 { return func(float64) float64 { return -rate } }
	night := func(at time.Time) float64 {
		if h := at.Hour(); at.Sub(dawn) > 96*time.Hour && h >= 20 {
			return 0
		}
		return 4
	}
	byDay := func(at time.Time) bool { return at.Hour() >= 8 && at.Hour() < 18 }
	for _, c := range []struct {
		name   string
		p      played
		want   analysis.Class // empty: no culture finding
		within time.Duration  // of from
	}{
		{"a healthy week", played{light: 1.0, dark: -0.1, days: 6}, "", 0},
		{"it dies at a tenth an hour from four in the night", played{light: 1.0, dark: -0.1, from: 4.9, rate: dies(2.5), days: 5.6}, analysis.Crash, 4 * time.Hour},
		{"slowly eaten, two per cent an hour", played{light: 1.0, dark: -0.1, from: 4.5, rate: func(h float64) float64 { return -math.Min(1.7, 0.1*h) }, days: 6.5}, analysis.Crash, 26 * time.Hour},
		{"cells sink while the air is out", played{light: 1.0, dark: -0.1, days: 6, air: night}, "", 0},
		{"an hour's slow draw by day that nobody wrote down", played{light: 1.0, dark: -0.1, from: 4.4, days: 4.7, staffed: byDay,
			rate: func(h float64) float64 {
				if h < 0.9 {
					return -15
				}
				return 0
			}}, "", 0},
		{"nothing grows from the start", played{begins: 0.08, light: 0, dark: 0, days: 5}, analysis.Stall, 4 * 24 * time.Hour},
		{"it stands still above its harvest density", played{light: 1.0, dark: -0.1, from: 4, harvest: 0.1, days: 9, rate: func(h float64) float64 {
			if hour := math.Mod(h, 24); hour >= 6 && hour < 18 {
				return -0.95
			}
			return 0
		}}, "", 0},
	} {
		found := c.p.play(t)
		begins := dawn.Add(time.Duration(c.p.from * 24 * float64(time.Hour)))
		for _, class := range analysis.Classes {
			at, is := found[class]
			switch {
			case class.Culture() && is && class != c.want:
				t.Errorf("%s: %s at %s", c.name, class, at)
			case class == c.want && !is:
				t.Errorf("%s: no %s", c.name, class)
			case class == c.want && (at.Before(begins) || at.Sub(begins) > c.within):
				t.Errorf("%s: %s %s after it began", c.name, class, at.Sub(begins))
			}
		}
	}
}

// A film is the probe's: od creeps up by day and by night alike.
func TestFilmAccusesTheProbe(t *testing.T) {
	found := played{light: 1.0, dark: -0.1, from: 4.5, film: 0.25, days: 6.5}.play(t)
	at, is := found[analysis.Sensor]
	if from := dawn.Add(108 * time.Hour); !is || at.Before(from) || at.Sub(from) > 36*time.Hour {
		t.Errorf("a film from %s on: sensor found %t at %s", from, is, at)
	}
	for _, class := range []analysis.Class{analysis.Contaminated, analysis.Crash, analysis.Stall} {
		if at, is := found[class]; is {
			t.Errorf("a film: %s at %s", class, at)
		}
	}
}

// A lot that makes somewhat more than half of its way is told of by day, and calls nobody.
func TestSlowButGrowingIsANotice(t *testing.T) {
	slow := func(float64) float64 { return -0.27 }
	for _, c := range []struct {
		p    played
		want bool
	}{
		{played{light: 1.0, dark: -0.1, days: 8}, false},
		{played{light: 1.3, dark: -0.1, from: 3, rate: slow, days: 7}, true},
	} {
		found := c.p.play(t)
		_, noticed := found[analysis.Notice]
		_, stalled := found[analysis.Stall]
		if noticed != c.want || stalled {
			t.Errorf("%+v: noticed %t, want %t; stall %t", c.p, noticed, c.want, stalled)
		}
	}
}

// A lot that is ready says so by day, and when it has stopped for a day that it
// is past its best; neither calls.
func TestReadyAndPastItsBest(t *testing.T) {
	s := newStage(t)
	s.vessel.HarvestOD = 0.3
	said := map[string]time.Time{}
	log := math.Log(0.1)
	for end := dawn.Add(9 * 24 * time.Hour); s.now.Before(end); {
		if s.now.Minute()%2 == 0 {
			if log < math.Log(0.34) {
				log += 0.4 * 2 / 1440
			}
			s.track.Take(ingest.Reading{Quantity: unit.OD, Value: math.Exp(log), At: s.now})
		}
		s.now = s.now.Add(time.Minute)
		for _, f := range s.judge.Step(Case{Vessel: &s.vessel, Track: &s.track, Now: s.now}) {
			if f.Class == analysis.Notice {
				if what, _, _ := strings.Cut(f.What, ","); said[what].IsZero() {
					said[what] = s.now
				}
			}
			if f.Class.Culture() {
				t.Fatalf("%s at %s: %s", f.Class, s.now, f.What)
			}
		}
	}
	ready, past := said["Ready to harvest"].Sub(dawn), said["Past its best"].Sub(dawn)
	day := 24 * time.Hour
	if ready < 2*day+12*time.Hour || ready > 3*day {
		t.Errorf("ready after %v", ready)
	}
	if past < 5*day || past > 7*day {
		t.Errorf("past its best after %v", past)
	}
}
