package backtest

import (
	"os"
	"path/filepath"
	"testing"
	"time"
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
		{"room-02", 1, nil},
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
