package backtest

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
)

// shared finds the recorded seasons, which are not part of the repository.
func shared(t testing.TB, parts ...string) string {
	dir := os.Getenv("NIGHTSHELF_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "..", "shared")
	}
	dir = filepath.Join(append([]string{dir}, parts...)...)
	if _, err := os.Stat(dir); err != nil {
		t.Skip("no recorded season here:", dir)
	}
	return dir
}

func staffed(t time.Time) bool { // the season's people work from 08:00 to 17:30
	m := t.Hour()*60 + t.Minute()
	return m >= 8*60 && m < 17*60+30
}

// One run without a fault and one with a lamp, a crash and air: a first guard
// against a judge that sleeps or cries. The whole table is a command, see
// DEVELOPERS.md.
func TestRecordedRooms(t *testing.T) {
	for _, c := range []struct {
		run  string
		most int // alarms at most
		want map[string]bool
	}{
		{"room-02", 2, nil}, // a draw and an end that were written the next day
		{"room-06", 10, map[string]bool{"C11 contaminated": true}},
		{"room-05", 14, map[string]bool{"C05 airflow": true, "C06 temperature": true, "C10 crash": true, "C01 sensor": true}},
	} {
		folders, err := Folders(shared(t, "corpus", c.run))
		if err != nil {
			t.Fatal(err)
		}
		run, err := One(folders[0], Options{Staffed: staffed})
		if err != nil {
			t.Fatal(err)
		}
		if len(run.Refused) != 0 || run.TooLate != 0 {
			t.Errorf("%s: %d refused, %d too late", c.run, len(run.Refused), run.TooLate)
		}
		if len(run.Alarms) > c.most {
			t.Errorf("%s: %d alarms, at most %d: %v", c.run, len(run.Alarms), c.most, run.Alarms)
		}
		for _, a := range run.Alarms {
			delete(c.want, a.Vessel+" "+string(a.Class))
		}
		for missed := range c.want {
			t.Errorf("%s: no alarm %s", c.run, missed)
		}
	}
}

// The whole recorded season, with slack on every line: the ruler of the season
// itself is stricter, and its table stands in DEVELOPERS.md.
func TestRecordedSeason(t *testing.T) {
	dir := shared(t, "corpus")
	lots, err := byhour.References(dir)
	if err != nil {
		t.Fatal(err)
	}
	lib := expect.Learn(lots)
	folders, err := Folders(dir)
	if err != nil {
		t.Fatal(err)
	}
	runs, err := All(t.Context(), folders, Options{Staffed: staffed, Courses: &lib})
	if err != nil {
		t.Fatal(err)
	}
	s, err := sumUp(folders, runs)
	if err != nil {
		t.Fatal(err)
	}
	for class, want := range map[analysis.Class]struct {
		caught int
		median time.Duration // after the fault showed, of those caught
	}{
		analysis.Crash:        {9, 4 * time.Hour},
		analysis.Stall:        {6, 80 * time.Hour},
		analysis.Contaminated: {5, 14 * time.Hour},
		analysis.Light:        {6, 30 * time.Minute},
		analysis.Temperature:  {4, 5 * time.Hour},
		analysis.Airflow:      {16, 20 * time.Minute},
		analysis.Sensor:       {14, 3 * time.Hour},
	} {
		j := s.classes[class]
		slices.Sort(j.delays)
		if j.caught < want.caught || j.delays[len(j.delays)/2] > want.median {
			t.Errorf("%s: %d of %d caught at %v, want %d at %v", class, j.caught, j.labelled, j.delays, want.caught, want.median)
		}
	}
	if s.nothing > 2 {
		t.Errorf("%d false alarms in %.1f vessel-years", s.nothing, s.years)
	}
}
