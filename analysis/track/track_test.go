package track

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"
	"unsafe"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

var start = time.Date(2026, 2, 3, 9, 0, 0, 0, time.UTC)

func inoculate(at time.Time) ingest.Entry {
	return ingest.Entry{Vessel: "C01", Kind: ingest.Inoculate, At: at, Written: at, Fields: map[string]ingest.Value{
		"lot": ingest.Text("A1"), "strain": ingest.Text("tisochrysis-lutea"), "medium": ingest.Text("f/2"), "volume_l": ingest.Num(18)}}
}

// grow feeds a state with od(days) every two minutes for a number of days.
func grow(s *State, from time.Time, days float64, od func(day float64) float64) time.Time {
	end := from.Add(time.Duration(days * 24 * float64(time.Hour)))
	at := from
	for ; at.Before(end); at = at.Add(2 * time.Minute) {
		s.Take(ingest.Reading{Vessel: "C01", Quantity: unit.OD, At: at, Value: od(at.Sub(start).Hours() / 24)})
	}
	return at
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.4f, want %.4f within %.4f", what, got, want, within)
	}
}

// noise is a probe's: 0.002 od, and a bubble in a tenth of the readings that
// throws it up by a half.
func noise(r *rand.Rand, od float64) float64 {
	od += 0.002 * r.NormFloat64()
	if r.Float64() < 0.1 {
		od *= 1.5
	}
	return od
}

func TestGrowthThroughBubbles(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	s := New()
	s.Note(inoculate(start))
	grow(&s, start, 3, func(d float64) float64 { return noise(r, 0.05*math.Exp(0.5*d)) })
	e := s.Estimate()
	near(t, "net growth", e.Growth.Likely, 0.5, 0.02)
	if !(e.Growth.Low < 0.5 && 0.5 < e.Growth.High) {
		t.Errorf("interval %v does not hold the truth 0.5", e.Growth)
	}
	near(t, "density", e.Density.Likely, 0.05*math.Exp(1.5), 0.01)
	near(t, "doubling time, ln 2 / mu", e.Doubling, math.Ln2/0.5, 0.1)
	if e.Phase != analysis.Exponential {
		t.Errorf("phase %s, want exponential", e.Phase)
	}
}

// A day of 16 h light and 8 h dark: the rate over a whole day is the mean of
// both whatever the hour it is asked at.
func TestGrowthOverNights(t *testing.T) {
	logOD := func(d float64) float64 {
		whole, part := math.Floor(d), d-math.Floor(d)
		const day, night = 0.6, -0.15
		net := whole * (day*16 + night*8) / 24
		if part < 16.0/24 {
			return net + day*part
		}
		return net + day*16/24 + night*(part-16.0/24)
	}
	want := (0.6*16 - 0.15*8) / 24
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 3, func(d float64) float64 { return 0.06 * math.Exp(logOD(d)) })
	for hour := 0; hour < 24; hour += 3 {
		at = grow(&s, at, 3.0/24, func(d float64) float64 { return 0.06 * math.Exp(logOD(d)) })
		near(t, at.Format("15:04")+" net growth", s.Day.PerDay, want, 0.01)
	}
}

func TestBlankFromStandingMedium(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	s := New()
	at := grow(&s, start, 0.5, func(float64) float64 { return 0.011 + 0.001*r.NormFloat64() })
	if e := s.Estimate(); e.Phase != analysis.Standing || !e.BlankLearnt {
		t.Fatalf("phase %s, blank learnt %v, want standing medium, true", e.Phase, e.BlankLearnt)
	}
	near(t, "blank", s.Blank, 0.011, 0.0005)
	s.Note(inoculate(at))
	grow(&s, at, 0.5, func(float64) float64 { return 0.011 + 0.05 })
	near(t, "density", s.Estimate().Density.Likely, 0.05, 0.001)
}

// What grew in the room before the watch began is watched, though nobody
// entered it; the entry that comes later names it.
func TestLotThatNobodyEntered(t *testing.T) {
	s := New()
	at := grow(&s, start, 1.0/24, func(float64) float64 { return 0.3 })
	if s.Lot != "" {
		t.Fatalf("presumed %q after an hour", s.Lot)
	}
	at = grow(&s, at, 2, func(d float64) float64 { return 0.3 * math.Exp(0.3*d) })
	if s.Lot != Unnamed || at.Sub(time.UnixMilli(s.Since)) < 47*time.Hour {
		t.Fatalf("lot %q since %v", s.Lot, time.UnixMilli(s.Since))
	}
	near(t, "net growth", s.Day.PerDay, 0.3, 0.02)
	s.Note(inoculate(start.Add(-24 * time.Hour)))
	grow(&s, at, 1.2, func(d float64) float64 { return 0.3 * math.Exp(0.3*d) })
	if e := s.Estimate(); e.Lot != "A1" || e.Age() < 4*24*time.Hour {
		t.Errorf("named later: lot %q, age %v", e.Lot, e.Age())
	}
	near(t, "net growth", s.Day.PerDay, 0.3, 0.02)
}

func TestWithoutStandingMediumSaysSo(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	grow(&s, start, 1, func(float64) float64 { return 0.2 })
	e := s.Estimate()
	if e.BlankLearnt {
		t.Error("a blank was learnt that was never seen")
	}
	if w := e.Density.High - e.Density.Low; w < 2*UnknownBlank {
		t.Errorf("density is %.4f wide, must be wide by an unknown blank", w)
	}
}

func TestHarvestIsTakenOutOfTheCourse(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 2, func(d float64) float64 { return 0.2 * math.Exp(0.3*d) })
	harvest := ingest.Entry{Vessel: "C01", Kind: ingest.Harvest, At: at.Add(7 * time.Minute), Written: at,
		Fields: map[string]ingest.Value{"volume_l": ingest.Num(6), "refilled": ingest.Bool(true)}}
	s.Note(harvest)
	grow(&s, at, 1, func(d float64) float64 { return 0.2 * math.Exp(0.3*d) * 2 / 3 })
	near(t, "net growth over the harvest", s.Day.PerDay, 0.3, 0.02)
	if s.LastHit.Ratio == 0 || !s.LastHit.Explained || s.LastHit.Entry != ingest.Harvest {
		t.Fatalf("step %+v, want one that the harvest explains", s.LastHit)
	}
	near(t, "ratio after 6 of 18 L", float64(s.LastHit.Ratio), 2.0/3, 0.02)
}

// A harvest takes a while: the reading in the middle of it, and a bin that is
// half before and half after, must not hide it.
func TestHarvestInTheMiddleOfABin(t *testing.T) {
	for minute := range 10 {
		s := New()
		s.Note(inoculate(start))
		at := grow(&s, start, 2, func(d float64) float64 { return 0.2 * math.Exp(0.3*d) })
		when := at.Add(time.Duration(minute) * time.Minute)
		s.Note(ingest.Entry{Vessel: "C01", Kind: ingest.Harvest, At: when, Written: at})
		grow(&s, at, 0.5, func(d float64) float64 {
			od := 0.2 * math.Exp(0.3*d)
			if d >= when.Sub(start).Hours()/24 {
				od *= 0.6
			}
			return od
		})
		if s.LastHit.Ratio == 0 || !s.LastHit.Explained {
			t.Errorf("harvest %d min into a bin: step %+v", minute, s.LastHit)
		}
		near(t, "net growth", s.Day.PerDay, 0.3, 0.03)
	}
}

func TestTopUpIsTakenOut(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 9))
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 2, func(d float64) float64 { return 0.3*math.Exp(0.2*d) + 0.002*r.NormFloat64() })
	s.Note(ingest.Entry{Vessel: "C01", Kind: ingest.TopUp, At: at.Add(4 * time.Minute), Written: at})
	grow(&s, at, 1, func(d float64) float64 { return 0.88*0.3*math.Exp(0.2*d) + 0.002*r.NormFloat64() })
	near(t, "net growth over a top-up of 12 per cent", s.Day.PerDay, 0.2, 0.04)
}

func TestNoStepFromSlopes(t *testing.T) {
	for _, hourly := range []float64{0.05, 0.1, 0.2, 0.3, 0.4, 0.5} {
		r := rand.New(rand.NewPCG(9, 9))
		s := New()
		s.Note(inoculate(start))
		at := grow(&s, start, 1, func(float64) float64 { return 0.4 + 0.003*r.NormFloat64() })
		grow(&s, at, 0.25, func(d float64) float64 { return 0.4*math.Exp(-hourly*(d-1)*24) + 0.003*r.NormFloat64() })
		if hit := s.LastHit; hit.Ratio != 0 {
			t.Errorf("a loss of %.0f %% an hour was taken for a step: %+v", 100*hourly, hit)
		}
	}
}

func TestStepWithoutEntryIsAQuestionUntilExplained(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 2, func(float64) float64 { return 0.3 })
	grow(&s, at, 0.1, func(float64) float64 { return 0.15 })
	if _, open := s.Question(); !open {
		t.Fatal("a density that halves in minutes must be a question")
	}
	s.Note(ingest.Entry{Vessel: "C01", Kind: ingest.Harvest, At: at.Add(-20 * time.Minute), Written: at.Add(9 * time.Hour)})
	if _, open := s.Question(); open {
		t.Error("an entry written next morning must explain it")
	}
}

func TestNoStepFromACrashAtItsFastest(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 1, func(float64) float64 { return 0.4 })
	// Half lost an hour: the fastest viral crash of real logs.
	grow(&s, at, 0.1, func(d float64) float64 { return 0.4 * math.Pow(0.5, (d-1)*24) })
	if hit := s.LastHit; hit.Ratio != 0 {
		t.Errorf("a crash of a half an hour was taken for a step: %+v", hit)
	}
	if s.Hours.PerDay > -3 {
		t.Errorf("net growth of the last hours %.2f/d, want a steep fall", s.Hours.PerDay)
	}
}

func TestEmptiedVesselIsAStep(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 1, func(float64) float64 { return 0.45 + 0.004*r.NormFloat64() })
	grow(&s, at, 0.1, func(float64) float64 { return 0.012 + 0.002*r.NormFloat64() })
	if _, open := s.Question(); !open {
		t.Error("a vessel that loses all density in minutes must be a question")
	}
}

func TestRepeatedReadingChangesNothing(t *testing.T) {
	s := New()
	r := ingest.Reading{Quantity: unit.OD, Value: 0.1, At: start}
	s.Take(r)
	before := s
	s.Take(r)
	r.Value = 9
	s.Take(r)
	if fmt.Sprint(s) != fmt.Sprint(before) { // NaN is the same as NaN here
		t.Error("a reading brought twice changed the state")
	}
}

func TestCopyIsACheckpoint(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 1.3, func(d float64) float64 { return 0.1 * math.Exp(0.4*d) })
	mark := s
	grow(&s, at, 0.5, func(float64) float64 { return 0.9 })
	s = mark
	grow(&s, at, 0.5, func(d float64) float64 { return 0.1 * math.Exp(0.4*d) })
	near(t, "net growth", s.Day.PerDay, 0.4, 0.01)
}

// A constant gain on od is a probe of another path: it changes no growth.
func TestGainChangesNoGrowth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gain := rapid.Float64Range(0.3, 5).Draw(t, "gain")
		mu := rapid.Float64Range(-0.2, 1.2).Draw(t, "mu")
		rate := func(gain float64) float64 {
			s := New()
			s.Note(inoculate(start))
			s.BlankNoise = 0
			grow(&s, start, 1.2, func(d float64) float64 { return gain * 0.2 * math.Exp(mu*d) })
			return s.Day.PerDay
		}
		if a, b := rate(1), rate(gain); math.Abs(a-b) > 1e-4 {
			t.Fatalf("net growth %.5f with gain 1, %.5f with gain %.3f", a, b, gain)
		}
	})
}

func TestFlatNoiseHasNoPace(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	s := New()
	s.Note(inoculate(start))
	grow(&s, start, 2, func(float64) float64 { return 0.001 * r.NormFloat64() })
	if !math.IsNaN(s.Day.PerDay) {
		t.Errorf("noise about zero was given a growth rate of %.3f/d", s.Day.PerDay)
	}
}

func BenchmarkTake(b *testing.B) {
	s := New()
	s.Note(inoculate(start))
	at := start
	b.ReportAllocs()
	for b.Loop() {
		at = at.Add(time.Minute)
		s.Take(ingest.Reading{Quantity: unit.OD, Value: 0.3, At: at})
	}
}

// A hundred vessels with their marks must stay in a cache of a megabyte.
func TestStateIsSmall(t *testing.T) {
	if size := unsafe.Sizeof(State{}); size >= 2048 {
		t.Errorf("%d bytes, want less than 2048", size)
	}
}

func TestStepAllocatesNothing(t *testing.T) {
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 3, func(d float64) float64 { return 0.1 * math.Exp(0.4*d) })
	if n := testing.AllocsPerRun(5000, func() {
		at = at.Add(time.Minute)
		s.Take(ingest.Reading{Quantity: unit.OD, Value: 0.3, At: at})
		s.Take(ingest.Reading{Quantity: unit.Light, Value: 80, At: at})
	}); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
}

// What a real shelf sends: four quantities every two minutes.
func BenchmarkTakeShelf(b *testing.B) {
	s := New()
	s.Note(inoculate(start))
	at := start
	values := []ingest.Reading{{Quantity: unit.OD, Value: 0.3}, {Quantity: unit.Temperature, Value: 21}, {Quantity: unit.Light, Value: 90}, {Quantity: unit.Airflow, Value: 2}}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		r := values[n%4]
		if n%4 == 0 {
			at = at.Add(2 * time.Minute)
		}
		if r.At = at; r.Quantity == unit.Light && at.Hour() < 8 {
			r.Value = 0
		}
		n++
		s.Take(r)
	}
}
