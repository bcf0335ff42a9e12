package backtest

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// season learns from the recorded season once for each test that wants it.
func season(t testing.TB) ([]expect.Record, *expect.Library) {
	lots, err := byhour.References(shared(t, "corpus"))
	if err != nil {
		t.Fatal(err)
	}
	lib := expect.Learn(lots)
	return lots, &lib
}

// Forecasts of every reference lot by the others of its strain, brought to the
// width that all of them have shown, hold what they say they hold.
func TestRecordedLeaveOneOut(t *testing.T) {
	lots, lib := season(t)
	wide := lib.Strain(lots[0].Strain, lots[0].Medium).Width
	trials := expect.LeaveOut(lots)
	inside := 0
	for _, tr := range trials {
		tr.Low, tr.High = tr.Likely-wide*(tr.Likely-tr.Low), tr.Likely+wide*(tr.High-tr.Likely)
		if tr.Inside() {
			inside++
		}
	}
	share := float64(inside) / float64(len(trials))
	t.Logf("%d trials, %.2f within 80 %% intervals", len(trials), share)
	if len(trials) < 50 || share < 0.72 || share > 0.88 {
		t.Errorf("%d trials, %.2f within their 80 %% intervals", len(trials), share)
	}
}

// A run's forecasts are the same whatever the number of cores, and each was
// made from what had come by then: cut short, the run forecasts the same.
func TestForecastsDoNotLookAhead(t *testing.T) {
	_, lib := season(t)
	folders, err := Folders(shared(t, "corpus", "room-02"))
	if err != nil {
		t.Fatal(err)
	}
	half := cutShort(t, folders[0])
	o := Options{Staffed: staffed, Courses: lib, Forecasts: true}
	both, err := All(context.Background(), []*runfolder.Folder{folders[0], half}, o)
	if err != nil {
		t.Fatal(err)
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one, err := One(folders[0], o)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(both[0].Forecasts, one.Forecasts) {
		t.Error("forecasts hang on the number of cores")
	}
	n := len(both[1].Forecasts)
	if n < 15 || n >= len(one.Forecasts) || !reflect.DeepEqual(both[1].Forecasts, one.Forecasts[:n]) {
		t.Errorf("%d forecasts of the run cut short, %d of the whole, or they differ", n, len(one.Forecasts))
	}
	for _, f := range one.Forecasts {
		if f.Made.Hour() != 12 || f.Earliest.Before(f.Made) || f.Latest.Before(f.Earliest) || !f.Likely.IsZero() && (f.Likely.Before(f.Earliest) || f.Likely.After(f.Latest)) {
			t.Errorf("forecast %+v", f)
		}
	}
}

// cutShort is a run folder with the first six tenths of the readings.
func cutShort(t *testing.T, f *runfolder.Folder) *runfolder.Folder {
	dir := t.TempDir()
	for _, name := range []string{runfolder.VesselsFile, runfolder.LotsFile, runfolder.EventsFile} {
		data, err := os.ReadFile(filepath.Join(f.Dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var lines []byte
	for chunk, err := range f.Readings() {
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, chunk.Data...)
	}
	lines = lines[:bytes.LastIndexByte(lines[:len(lines)*6/10], '\n')+1]
	if err := os.WriteFile(filepath.Join(dir, runfolder.ReadingsFile), lines, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := runfolder.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestExplain(t *testing.T) {
	_, lib := season(t)
	dir := shared(t, "corpus", "room-01")
	e, err := Explain(dir, "RH0037", Options{Staffed: staffed, Courses: lib, Forecasts: true})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := e.Write(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"RH0037: rhodomonas-salina in f/2, vessel C07 of room-01", "from 5 reference lots", "entry     inoculate", "forecast  ready 2026-03-14"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("lacks %q:\n%s", want, b.String())
		}
	}
	if _, err := Explain(dir, "nobody", Options{Courses: lib, Forecasts: true}); err == nil || !strings.Contains(err.Error(), `"nobody"`) {
		t.Errorf("a lot that is not there: %v", err)
	}
}
