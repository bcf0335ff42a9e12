package judge

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

var dawn = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// stage is one vessel under test, stepped minute by minute.
type stage struct {
	t      *testing.T
	vessel ingest.Vessel
	track  track.State
	judge  State
	now    time.Time
	found  []analysis.Finding
}

func newStage(t *testing.T) *stage {
	s := &stage{t: t, track: track.New(), now: dawn, vessel: ingest.Vessel{Name: "C01", LightsOn: 6 * time.Hour, LightHours: 12 * time.Hour,
		LightShape: ingest.Square, ParUmol: 100, TempC: 20, TempBand: 3, AirLpm: 4, Interval: 2 * time.Minute}}
	s.track.Note(ingest.Entry{Vessel: "C01", Kind: ingest.Inoculate, At: dawn, Fields: map[string]ingest.Value{"lot": ingest.Text("A")}})
	return s
}

// play runs for a while; each value is said every two minutes.
func (s *stage) play(d time.Duration, q ingest.Quantity, value func(time.Time) float64) {
	for end := s.now.Add(d); s.now.Before(end); {
		if s.now.Minute()%2 == 0 && value != nil {
			s.track.Take(ingest.Reading{Quantity: q, Value: value(s.now), At: s.now})
		}
		s.now = s.now.Add(time.Minute)
		s.found = s.judge.Step(Case{Vessel: &s.vessel, Track: &s.track, Now: s.now})
	}
}

func (s *stage) has(c analysis.Class, q ingest.Quantity) bool {
	for _, f := range s.found {
		if f.Class == c && f.Quantity == q {
			return true
		}
	}
	return false
}

func (s *stage) want(what string, c analysis.Class, q ingest.Quantity, want bool) {
	s.t.Helper()
	if got := s.has(c, q); got != want {
		s.t.Errorf("%s at %s: %s %v, want %v (found %v)", what, s.now.Format("2 15:04"), c, got, want, s.found)
	}
}

func steady(v float64) func(time.Time) float64 { return func(time.Time) float64 { return v } }

// lampOf is a lamp that burns from six to six, rising and falling or square.
func lampOf(shape ingest.Shape, peak float64) func(time.Time) float64 {
	return func(t time.Time) float64 {
		h := float64(t.Hour()) + float64(t.Minute())/60
		if h < 6 || h >= 18 {
			return 0.2
		}
		if shape == ingest.Sine {
			return peak * math.Sin(math.Pi*(h-6)/12)
		}
		return peak
	}
}

func TestTemperatureBand(t *testing.T) {
	for _, c := range []struct {
		temp float64
		want bool
	}{{20, false}, {22.9, false}, {23.1, true}, {17.1, false}, {16.9, true}, {34, true}} {
		s := newStage(t)
		s.play(time.Hour, unit.Temperature, steady(c.temp))
		s.want("temperature", analysis.Temperature, 0, c.want)
	}
}

func TestTemperatureDeadband(t *testing.T) {
	s := newStage(t)
	s.play(time.Hour, unit.Temperature, steady(23.2))
	s.play(time.Hour, unit.Temperature, steady(22.9))
	s.want("just inside the band", analysis.Temperature, 0, true)
	s.play(time.Hour, unit.Temperature, steady(22.5))
	s.want("well inside", analysis.Temperature, 0, false)
}

func TestProbesThatLie(t *testing.T) {
	for _, c := range []struct {
		q    ingest.Quantity
		v    float64
		want bool
	}{{unit.Temperature, -127, true}, {unit.Temperature, 85, true}, {unit.Temperature, 31, false}, {unit.OD, -0.5, true},
		{unit.OD, -0.01, false}, {unit.Light, 5000, true}, {unit.PH, 0, true}, {unit.PH, 8.2, false}} {
		s := newStage(t)
		s.play(time.Hour, c.q, steady(c.v))
		impossible := false
		for _, f := range s.found { // a value that repeats itself is stuck as well
			impossible = impossible || f.Class == analysis.Sensor && f.Quantity == c.q && strings.Contains(f.What, "cannot be")
		}
		if impossible != c.want {
			t.Errorf("%s of %v: found %v, want %v", c.q, c.v, impossible, c.want)
		}
		if s.has(analysis.Temperature, 0) && c.want {
			t.Errorf("%s of %v accuses the room", c.q, c.v)
		}
	}
}

func TestStuckProbe(t *testing.T) {
	s := newStage(t)
	k := 0
	s.play(5*time.Hour, unit.OD, func(time.Time) float64 { k++; return 0.2 + 0.0001*float64(k*k%17) })
	s.want("a probe that lives", analysis.Sensor, unit.OD, false)
	s.play(40*time.Minute, unit.OD, steady(0.2003))
	s.want("40 min of the same", analysis.Sensor, unit.OD, false)
	s.play(10*time.Minute, unit.OD, steady(0.2003))
	s.want("50 min of the same", analysis.Sensor, unit.OD, true)
	s.play(10*time.Minute, unit.OD, func(time.Time) float64 { k++; return 0.2 + 0.0001*float64(k*k%17) })
	s.want("alive again", analysis.Sensor, unit.OD, false)
}

func TestCoarseProbeIsNotStuck(t *testing.T) {
	s := newStage(t)
	// Two decimals: most readings repeat the one before.
	s.play(48*time.Hour, unit.OD, func(t time.Time) float64 { return math.Round(20+t.Sub(dawn).Hours()) / 100 })
	for range 48 {
		s.play(time.Hour, unit.OD, func(t time.Time) float64 { return math.Round(20+t.Sub(dawn).Hours()) / 100 })
		s.want("a coarse probe", analysis.Sensor, unit.OD, false)
	}
}

// A probe that says the same from its first reading on may be a coarse one.
func TestSameFromTheFirstReadingIsNotStuck(t *testing.T) {
	s := newStage(t)
	s.play(12*time.Hour, unit.Airflow, steady(4))
	s.want("a rotameter", analysis.Sensor, unit.Airflow, false)
}

func TestSilenceOfOneAndAll(t *testing.T) {
	s := newStage(t)
	s.vessel.Expects = []ingest.Quantity{unit.Temperature, unit.Airflow}
	s.play(59*time.Minute, unit.Temperature, steady(20))
	s.want("before an hour", analysis.Sensor, unit.Airflow, false)
	s.play(5*time.Minute, unit.Temperature, steady(20))
	s.want("after an hour", analysis.Sensor, unit.Airflow, true)
	s.play(70*time.Minute, 0, nil)
	s.want("nothing at all", analysis.Sensor, 0, true)
	s.want("nothing at all", analysis.Sensor, unit.Airflow, false)
}

func TestLamp(t *testing.T) {
	for _, shape := range []ingest.Shape{ingest.Square, ingest.Sine} {
		for _, days := range []int{0, 3} { // from the configuration alone, and by its own days
			s := newStage(t)
			s.vessel.LightShape = shape
			normal := lampOf(shape, 100)
			for range days * 24 {
				s.play(time.Hour, unit.Light, normal)
				s.want(string(shape)+" on a good day", analysis.Light, 0, false)
			}
			s.play(12*time.Hour, unit.Light, normal)
			s.want(string(shape)+" at noon", analysis.Light, 0, false)
			s.play(20*time.Minute, unit.Light, steady(0.1))
			s.want(string(shape)+" dark at noon", analysis.Light, 0, true)
			s.play(20*time.Minute, unit.Light, normal)
			s.want(string(shape)+" lit again", analysis.Light, 0, false)
			s.play(8*time.Hour, unit.Light, normal)
			s.want(string(shape)+" at night", analysis.Light, 0, false)
			s.play(30*time.Minute, unit.Light, steady(100))
			s.want(string(shape)+" lit at night", analysis.Light, 0, true)
		}
	}
}

// A lamp at half its light shows only against its own days: how far the sensor
// stands from the lamp is not configured.
func TestDimLampIsHeldAgainstItsOwnDays(t *testing.T) {
	s := newStage(t)
	s.play(12*time.Hour, unit.Light, lampOf(ingest.Square, 55)) // the sensor stands in half shade
	s.want("in half shade from the start", analysis.Light, 0, false)
	s.play(48*time.Hour, unit.Light, lampOf(ingest.Square, 55))
	s.want("in half shade as ever", analysis.Light, 0, false)
	s.play(20*time.Minute, unit.Light, steady(25))
	s.want("half of that", analysis.Light, 0, true)
}

// A lamp that failed overnight does not become the habit by being dark long.
// Readings every quarter of an hour lag behind the lamp by more than half an
// hour; that is no fault of the lamp.
func TestLampWithFewReadings(t *testing.T) {
	for _, minutes := range []int{2, 10, 15} {
		s := newStage(t)
		s.vessel.Interval = time.Duration(minutes) * time.Minute
		lamp := lampOf(ingest.Square, 100)
		for range 4 * 24 * 60 {
			if s.now.Minute()%minutes == 0 {
				s.track.Take(ingest.Reading{Quantity: unit.Light, Value: lamp(s.now), At: s.now})
			}
			s.play(time.Minute, unit.Light, nil)
			s.want("a healthy lamp", analysis.Light, 0, false)
		}
	}
}

// A lamp whose hours moved is told of for some nights, and is then the habit.
func TestMovedTimerBecomesTheHabit(t *testing.T) {
	s := newStage(t)
	s.vessel.LightsOn, s.vessel.LightHours, s.vessel.ParUmol = -1, 0, 0
	lamp := lampOf(ingest.Square, 100)
	s.play(4*24*time.Hour, unit.Light, lamp)
	later := func(at time.Time) float64 { return lamp(at.Add(-2 * time.Hour)) }
	s.play(7*time.Hour, unit.Light, later)
	s.want("the first day, dark at seven", analysis.Light, 0, true)
	s.play(6*24*time.Hour, unit.Light, later)
	s.want("a week later, dark at seven", analysis.Light, 0, false)
}

func TestDarkLampIsNoNewHabit(t *testing.T) {
	s := newStage(t)
	s.play(5*24*time.Hour, unit.Light, lampOf(ingest.Square, 100))
	for range 3 {
		s.play(12*time.Hour, unit.Light, steady(0.1))
		s.want("noon of a dark day", analysis.Light, 0, true)
		s.play(12*time.Hour, unit.Light, steady(0.1))
	}
}

func TestLampHoursAreLocal(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Skip("no time zones here:", err)
	}
	s := newStage(t)
	s.vessel.Zone = zone
	s.now = time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)       // summer: 01:00 there
	s.play(5*time.Hour+30*time.Minute, unit.Light, steady(0)) // 06:30 there
	s.want("half past six, summer time", analysis.Light, 0, true)
}

func TestAirStandards(t *testing.T) {
	s := newStage(t)
	s.play(time.Hour, unit.Airflow, steady(3.9))
	s.want("normal", analysis.Airflow, 0, false)
	s.play(8*time.Minute, unit.Airflow, steady(0.1))
	s.want("off", analysis.Airflow, 0, true)
	s.play(8*time.Minute, unit.Airflow, steady(3.9))
	s.want("on", analysis.Airflow, 0, false)
	s.play(30*time.Minute, unit.Airflow, steady(2))
	s.want("weak for half an hour", analysis.Airflow, 0, false)
	s.play(20*time.Minute, unit.Airflow, steady(2))
	s.want("weak for longer", analysis.Airflow, 0, true)
}

func TestEndedLotDoesNotAlarm(t *testing.T) {
	s := newStage(t)
	s.play(time.Hour, unit.Temperature, steady(34))
	s.track.Note(ingest.Entry{Vessel: "C01", Kind: ingest.End, At: s.now})
	s.play(2*time.Hour, unit.Temperature, steady(34))
	if len(s.found) != 0 {
		t.Errorf("an ended lot has findings: %v", s.found)
	}
}

// A falling od while the air stands still accuses the air and not the culture.
func TestSettlingIsNoCrash(t *testing.T) {
	s := newStage(t)
	od := func(at time.Time) float64 { return 0.2 * math.Exp(0.3*at.Sub(dawn).Hours()/24) }
	for range 5 * 24 * 30 {
		s.track.Take(ingest.Reading{Quantity: unit.Airflow, Value: 4, At: s.now})
		s.play(2*time.Minute, unit.OD, od)
	}
	stop := s.now
	for range 4 * 30 {
		s.track.Take(ingest.Reading{Quantity: unit.Airflow, Value: 0, At: s.now})
		s.play(2*time.Minute, unit.OD, func(at time.Time) float64 { return od(at) * math.Exp(-0.3*at.Sub(stop).Hours()) })
		s.want("settling", analysis.Crash, 0, false)
	}
	s.want("no air", analysis.Airflow, 0, true)
}

// Eppley 1972 and Bissinger and others 2008, values computed from the
// published equations: facts table of section 4.1 (log10 k = 0.0275 T - 0.070;
// mu = 0.81 exp(0.0631 T)).
func TestCeilings(t *testing.T) {
	for _, c := range []struct{ temp, eppley, bissinger float64 }{
		{0, 0.5900, 0.8100}, {10, 1.1113, 1.5224}, {15, 1.5252, 2.0871}, {20, 2.0933, 2.8613}, {25, 2.8729, 3.9227}, {30, 3.9430, 5.3778}} {
		if got := expect.Eppley(c.temp); math.Abs(got-c.eppley) > 1e-4 {
			t.Errorf("Eppley at %v degC: %.4f, want %.4f", c.temp, got, c.eppley)
		}
		if got := expect.Ceiling(c.temp); math.Abs(got-c.bissinger) > 1e-4 {
			t.Errorf("Bissinger at %v degC: %.4f, want %.4f", c.temp, got, c.bissinger)
		}
	}
}

func TestOtherLampHoursAreLearntAnew(t *testing.T) {
	s := newStage(t)
	s.play(4*24*time.Hour, unit.Light, lampOf(ingest.Square, 100))
	s.vessel.LightsOn, s.vessel.LightHours = 18*time.Hour, 12*time.Hour
	s.play(12*time.Hour, unit.Light, func(t time.Time) float64 { return 100 - lampOf(ingest.Square, 100)(t) })
	s.want("noon, now dark by setting", analysis.Light, 0, false)
}
