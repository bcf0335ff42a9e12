package track

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// With a reading every ten minutes two bubbles in a row are no step; a draw is
// one, and three bubbles about it hide it no longer than an hour.
func TestStepsOfSparseReadings(t *testing.T) {
	start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name   string
		od     func(k int) float64 // of the k-th reading, without noise
		want   bool
		within int // readings after the 60th
	}{
		{"nothing", func(int) float64 { return 0.3 }, false, 0},
		{"two bubbles in a row", func(k int) float64 {
			if k == 60 || k == 61 {
				return 0.42
			}
			return 0.3
		}, false, 0},
		{"a third is drawn", func(k int) float64 {
			if k >= 60 {
				return 0.2
			}
			return 0.3
		}, true, 5},
		{"a third is drawn, with a bubble after it", func(k int) float64 {
			switch {
			case k == 61:
				return 0.29
			case k >= 60:
				return 0.2
			}
			return 0.3
		}, true, 6},
	} {
		r := rand.New(rand.NewPCG(6, 10))
		s := New()
		s.Note(ingest.Entry{Vessel: "C1", Kind: ingest.Inoculate, At: start, Fields: map[string]ingest.Value{"lot": ingest.Text("A")}})
		found := -1
		for k := range 100 {
			at := start.Add(time.Duration(k)*10*time.Minute + time.Minute)
			s.Take(ingest.Reading{Vessel: "C1", Quantity: ingest.OD, Value: c.od(k) + 0.001*r.NormFloat64(), At: at})
			if _, open := s.Question(); open && found < 0 {
				found = k
			}
		}
		if got := found >= 0; got != c.want || got && found > 60+c.within {
			t.Errorf("%s: a step found %t, at reading %d", c.name, got, found)
		}
	}
}
