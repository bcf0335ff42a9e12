package backtest

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// season learns from the recorded season once for each test that wants it.
func season(t testing.TB) ([]expect.Record, *expect.Library) {
	lots, err := References(shared(t, "corpus"))
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

func TestHoursGatherLateReadings(t *testing.T) {
	at := time.Date(2026, time.March, 2, 10, 0, 0, 0, time.UTC)
	h := hours{set: ingest.Vessel{Name: "C1", VolumeL: 10, TempC: math.NaN(), LightsOn: 6 * time.Hour, LightHours: 12 * time.Hour, ParUmol: 80}}
	for _, m := range []int{0, 70, 5, 80, 10} { // the third and the fifth come late
		h.take(ingest.Reading{Vessel: "C1", Quantity: ingest.OD, Value: float64(m), At: at.Add(time.Duration(m) * time.Minute)})
	}
	h.take(ingest.Reading{Vessel: "C1", Quantity: ingest.OD, Value: 1, At: at.AddDate(20, 0, 0)}) // a clock gone wrong
	if got := h.od(hourOf(at), hourOf(at)+2); got[0] != 5 || got[1] != 75 || len(h.list) > furthest {
		t.Errorf("hours of %v, %d kept", got, len(h.list))
	}
	// Nothing measured: as set, or as usual.
	day, night := h.hour(hourOf(at), hourOf(at)), h.hour(hourOf(at)+10, hourOf(at)+10)
	if day.Par != 80 || night.Par != 0 || day.TempC != usualTemp || !math.IsNaN(day.Vvm) {
		t.Errorf("by day %+v, by night %+v", day, night)
	}
	h.take(ingest.Reading{Vessel: "C1", Quantity: ingest.Light, Value: 40, At: at.Add(time.Minute)})
	if next := h.ahead(hourOf(at)+24, 30); next[0].Par != 40 || next[24].Par != 40 || next[12].Par != 0 {
		t.Errorf("the lamp to come: %+v", next)
	}
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
