package room

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
)

// dying is a night in which a lot of seven days begins to die at two in the
// morning, by a tenth an hour; every is how often it is read, gain what its probe
// makes of od, from is when it all begins.
func dying(from time.Time, every time.Duration, gain float64) (*Room, []ingest.Reading) {
	set := carboy("C01")
	set.Interval, set.LightsOn, set.LightHours, set.ParUmol = every, -1, 0, 0
	set.Expects = []ingest.Quantity{ingest.OD, ingest.Temperature, ingest.Airflow}
	o := options("C01")
	o.Vessels = []ingest.Vessel{set}
	r := New(o)
	r.Digest(entriesOnly(started("C01", from)), from)
	dies := from.Add(14*time.Hour + 4*24*time.Hour)
	var all []ingest.Reading
	for k, at := 0, from; at.Before(dies.Add(12 * time.Hour)); k, at = k+1, at.Add(every) {
		log := math.Log(0.1) + 0.35*at.Sub(from).Hours()/24
		if at.After(dies) {
			log -= 0.105 * at.Sub(dies).Hours()
		}
		// The same noise for the same moment, however often it is read.
		noise := 0.0008 * math.Sin(float64(at.Sub(from)/time.Second)*1.7)
		for _, q := range []struct {
			q ingest.Quantity
			v float64
		}{{ingest.OD, gain * (math.Exp(log) + noise)}, {ingest.Temperature, 20 + 0.05*math.Sin(float64(k))}, {ingest.Airflow, 4 + 0.02*math.Sin(float64(k)*1.3)}} {
			all = append(all, ingest.Reading{Vessel: "C01", Quantity: q.q, Value: q.v, At: at})
		}
	}
	return r, all
}

// crashOf is when a crash was raised after from; zero: never. Nothing else may be.
func crashOf(t *rapid.T, r *Room, all []ingest.Reading, from time.Time) time.Duration {
	when := time.Duration(0)
	for _, a := range digest(r, all, 64).Alarms {
		if a.Class != analysis.Crash {
			t.Fatalf("%s raised %v after the start: %s", a.Class, a.Raised.Sub(from), a.Finding.What)
		}
		when = a.Raised.Sub(from)
	}
	return when
}

// What is found does not hang on the date, on how often the probe is read, or on
// what its unit of od is worth, beyond an hour.
func TestFindingsAreAlike(t *testing.T) {
	plain, all := dying(noon, 2*time.Minute, 1)
	var want time.Duration
	rapid.Check(t, func(t *rapid.T) {
		if want == 0 {
			if want = crashOf(t, plain, all, noon); want == 0 {
				t.Fatal("a lot that loses a tenth an hour is not found")
			}
		}
		from := noon.AddDate(0, 0, rapid.IntRange(-400, 400).Draw(t, "days"))
		every := []time.Duration{30 * time.Second, time.Minute, 2 * time.Minute, 5 * time.Minute}[rapid.IntRange(0, 3).Draw(t, "every")]
		gain := rapid.Float64Range(0.8, 1.25).Draw(t, "gain")
		r, all := dying(from, every, gain)
		got := crashOf(t, r, all, from)
		if got == 0 || (got-want).Abs() > time.Hour {
			t.Fatalf("found %v after the start, and %v as it is", got, want)
		}
		g, plainGrowth := r.Views()[0].Estimate.Growth.Likely, plain.Views()[0].Estimate.Growth.Likely
		if math.Abs(g-plainGrowth) > 0.03 {
			t.Fatalf("growth %.3f, and %.3f as it is", g, plainGrowth)
		}
	})
}

// A whole shift of time changes nothing at all, not by a minute.
func TestShiftOfDays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.IntRange(1, 300).Draw(t, "days")
		a, first := dying(noon, 5*time.Minute, 1)
		b, second := dying(noon.AddDate(0, 0, days), 5*time.Minute, 1)
		if x, y := crashOf(t, a, first, noon), crashOf(t, b, second, noon.AddDate(0, 0, days)); x != y {
			t.Fatalf("raised after %v, and %d days later after %v", x, days, y)
		}
	})
}
