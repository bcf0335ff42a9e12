package judge

import (
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest"
)

// counts is a vessel without any probe, counted every 24 h from the second
// hour on, and judged minute by minute until so long after the last count.
func counts(t *testing.T, after time.Duration, cells ...float64) *stage {
	s := &stage{t: t, track: track.New(), now: dawn, vessel: ingest.Vessel{Name: "F01", LightsOn: -1}}
	s.track.Note(ingest.Entry{Kind: ingest.Inoculate, At: dawn, Fields: map[string]ingest.Value{"lot": ingest.Text("A")}})
	s.play(2*time.Hour, 0, nil)
	for i, c := range cells {
		s.track.Advance(s.now)
		s.track.Note(ingest.Entry{Kind: ingest.Count, At: s.now, Fields: map[string]ingest.Value{"cells_per_ml": ingest.Num(c)}})
		d := 24 * time.Hour
		if i == len(cells)-1 {
			d = after
		}
		s.step(d)
	}
	return s
}

// step lives on without readings.
func (s *stage) step(d time.Duration) {
	for end := s.now.Add(d); s.now.Before(end); {
		s.now = s.now.Add(time.Minute)
		s.track.Advance(s.now)
		s.found = s.judge.Step(Case{Vessel: &s.vessel, Track: &s.track, Now: s.now})
	}
}

func TestByHand(t *testing.T) {
	for _, tt := range []struct {
		name  string
		after time.Duration
		cells []float64
		want  analysis.Class // empty: nothing
	}{
		{"doubles every other day", time.Hour, []float64{2e5, 2.8e5, 4e5, 5.6e5, 8e5}, ""},
		{"within the error of counting", time.Hour, []float64{2e5, 2.8e5, 4e5, 3.3e5}, ""},
		{"half of it gone", time.Hour, []float64{2e5, 4e5, 8e5, 4e5}, analysis.Crash},
		{"does not grow", time.Hour, []float64{4e5, 4.1e5, 4e5, 3.9e5}, analysis.Stall},
		{"does not grow, counted too young", time.Hour, []float64{4e5, 4.1e5}, ""},
		{"full, so that slowing is the rule", time.Hour, []float64{2e5, 6e5, 1.2e6, 1.3e6, 1.3e6, 1.3e6}, ""},
		{"not counted for three days", 3 * 24 * time.Hour, []float64{2e5, 4e5}, analysis.Notice},
		{"not counted for two days", 2 * 24 * time.Hour, []float64{2e5, 4e5}, ""},
		{"a crash that nobody counted again is not of now", 3 * 24 * time.Hour, []float64{2e5, 4e5, 8e5, 2e5}, analysis.Notice},
	} {
		s := counts(t, tt.after, tt.cells...)
		var got analysis.Class
		if len(s.found) > 1 {
			t.Errorf("%s: %d findings: %v", tt.name, len(s.found), s.found)
		} else if len(s.found) == 1 {
			got = s.found[0].Class
		}
		if got != tt.want {
			t.Errorf("%s: found %q, want %q", tt.name, got, tt.want)
		}
	}
}
