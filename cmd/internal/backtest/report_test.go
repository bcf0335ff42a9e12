package backtest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

func labelled(t *testing.T, rows string) *runfolder.Folder {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, LabelsFile), []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	return &runfolder.Folder{Dir: dir, Vessels: []ingest.Vessel{{Name: "C1"}, {Name: "C2"}}}
}

func alarm(vessel string, class analysis.Class, at time.Time) alerts.Alarm {
	return alerts.Alarm{Key: analysis.Key{Vessel: vessel, Class: class}, Raised: at}
}

func TestReport(t *testing.T) {
	first := time.Date(2026, time.March, 1, 0, 0, 0, 0, time.UTC)
	f := labelled(t, "vessel,fault,class,onset,bite,cleared\n"+
		"C1,lysis,crash,2026-03-06T00:00:00Z,2026-03-06T04:00:00Z,\n"+
		"C2,air_off,airflow,2026-03-11T00:00:00Z,,2026-03-11T06:00:00Z\n")
	day := func(d float64) time.Time { return first.Add(time.Duration(d * 24 * float64(time.Hour))) }
	run := Run{First: first, Last: day(20), Alarms: []alerts.Alarm{
		alarm("C1", analysis.Light, day(1)),      // for nothing
		alarm("C1", analysis.Stall, day(5.25)),   // 2 h after the bite
		alarm("C2", analysis.Crash, day(11)),     // in the shadow of the air
		alarm("C2", analysis.Airflow, day(15.5)), // for nothing, and too late for the air
	}}
	var b strings.Builder
	if err := Report(&b, []*runfolder.Folder{f}, []Run{run}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"of 1 faults 1 caught, median 2.0 h", "of 1 faults 0 caught\n", "false alarms: 2 in 0.04 vessel-years"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("lacks %q:\n%s", want, b.String())
		}
	}
}

func TestLabelsFault(t *testing.T) {
	_, _, err := Labels(labelled(t, "vessel,class,onset\nC1,crash,yesterday\n"))
	if err == nil || !strings.Contains(err.Error(), `labels.csv:2: onset "yesterday"`) {
		t.Errorf("error %v", err)
	}
	if _, known, err := Labels(&runfolder.Folder{Dir: t.TempDir()}); known || err != nil {
		t.Errorf("labels where there are none: %t, %v", known, err)
	}
}
