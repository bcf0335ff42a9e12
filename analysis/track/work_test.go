package track

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// siphon is a culture of which litres are drawn over an hour in fits and
// starts, hour by hour from when on, and replaced by medium.
func siphon(when time.Time, seed uint64) func(d float64) float64 {
	r := rand.New(rand.NewPCG(seed, 3))
	pauses := [4]float64{r.Float64(), r.Float64(), r.Float64(), r.Float64()}
	at := when.Sub(start).Hours() / 24
	return func(d float64) float64 {
		od := 0.3 * math.Exp(0.35*d)
		done := (d - at) * 24 // hours into it
		left := 0.0
		for i := range 4 { // four quarters, each in a few minutes somewhere within its quarter hour
			left += math.Max(0, math.Min(1, (done*4-float64(i)-pauses[i]*0.6)/0.4))
		}
		return od*(1-0.1*left) + 0.002*r.NormFloat64()
	}
}

func TestSlowHarvestIsTakenOut(t *testing.T) {
	for seed := range uint64(20) {
		for name, written := range map[string]time.Duration{"at its beginning": 0, "at its end": time.Hour, "half an hour late": 30 * time.Minute, "hours later": 5 * time.Hour} {
			when := start.Add(3*24*time.Hour + 7*time.Minute)
			course := siphon(when, seed)
			s := New()
			s.Note(inoculate(start))
			at := grow(&s, start, when.Add(written).Sub(start).Hours()/24, course)
			s.Note(ingest.Entry{Vessel: "C01", Kind: ingest.Harvest, At: when.Add(min(written, time.Hour)), Written: at,
				Fields: map[string]ingest.Value{"volume_l": ingest.Num(7.2), "refilled": ingest.Bool(true)}})
			end := grow(&s, at, 8.0/24, course)
			if level, _, ok := s.Level(s.Latest, perHour); !ok || math.Abs(level-math.Log(0.3)-0.35*end.Sub(start).Hours()/24) > 0.08 {
				t.Errorf("seed %d, written %s: log density with the harvest taken out is %.3f, want %.3f", seed, name, level, math.Log(0.3)+0.35*end.Sub(start).Hours()/24)
			}
			near(t, "net growth over a day with a slow harvest", s.Day.PerDay, 0.35, 0.08)
		}
	}
}

// An entry is no licence: what falls and goes on falling is not taken out.
func TestWorkDoesNotHideACrash(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	s := New()
	s.Note(inoculate(start))
	at := grow(&s, start, 3, func(d float64) float64 { return 0.3*math.Exp(0.35*d) + 0.002*r.NormFloat64() })
	s.Note(ingest.Entry{Vessel: "C01", Kind: ingest.WipeSensor, At: at, Written: at})
	grow(&s, at, 8.0/24, func(d float64) float64 {
		return 0.3*math.Exp(0.35*3-0.15*(d-3)*24) + 0.002*r.NormFloat64()
	})
	level, _, _ := s.Level(s.Latest, perHour)
	if lost := math.Log(0.3) + 0.35*3 - level; lost < 0.9 {
		t.Errorf("of 1.2 lost in eight hours after an entry, %.2f is left to be seen", lost)
	}
}
