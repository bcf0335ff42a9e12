package runfolder

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// folder writes the named files into a new folder and returns it.
func folder(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "run")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

const (
	vesselHead = "vessel,volume_l,zone,lights_on,light_hours,light_shape,par_umol,temp_c,air_lpm,interval_s\n"
	lotHead    = "lot,vessel,strain,medium,role,inoculated_at,inoculum_l,harvest_od,ended_at\n"
)

func TestOpenReadsEveryCell(t *testing.T) {
	dir := folder(t, map[string]string{
		VesselsFile: "\xef\xbb\xbf" + vesselHead + "C01,19.5,Europe/Lisbon,05:30,18,sine,180,-1.5,4.5,120\n",
		LotsFile:    lotHead + "RH1,C01,rhodomonas-salina,f/2,reference,2026-03-05T18:09:00+01:00,1.9,0.3,2026-03-09T08:00:00Z\n",
		EventsFile:  "", ReadingsFile: "",
	})
	f, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	vessel := ingest.Vessel{Name: "C01", VolumeL: 19.5, Zone: lisbon, LightsOn: 5*time.Hour + 30*time.Minute, LightHours: 18 * time.Hour,
		LightShape: ingest.Sine, ParUmol: 180, TempC: -1.5, AirLpm: 4.5, Interval: 2 * time.Minute}
	if len(f.Vessels) != 1 || !reflect.DeepEqual(f.Vessels[0], vessel) {
		t.Errorf("vessels %+v, want %+v", f.Vessels, vessel)
	}
	lot := ingest.Lot{Name: "RH1", Vessel: "C01", Strain: "rhodomonas-salina", Medium: "f/2", Role: ingest.Reference,
		Inoculated: time.Date(2026, 3, 5, 17, 9, 0, 0, time.UTC), InoculumL: 1.9, HarvestOD: 0.3, Ended: time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC)}
	if len(f.Lots) != 1 || f.Lots[0] != lot {
		t.Errorf("lots %+v, want %+v", f.Lots, lot)
	}
	if f.Name != "run" {
		t.Errorf("name %q", f.Name)
	}
}

func TestOpenTakesUnknownColumnsAndEmptyCells(t *testing.T) {
	dir := folder(t, map[string]string{
		VesselsFile:  "colour,vessel,volume_l,lights_on,temp_c,interval_s\nred,A01,,,,\nblue,A02\n,,\n",
		LotsFile:     "lot,vessel,mood\n,A01,fair\n",
		ReadingsFile: "",
	})
	f, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Vessels) != 2 || f.Vessels[1].Name != "A02" {
		t.Fatalf("vessels %+v", f.Vessels)
	}
	for _, v := range f.Vessels {
		if v.LightsOn != -1 || !math.IsNaN(v.TempC) || v.Zone != time.UTC || v.LightShape != ingest.Square || v.VolumeL != 0 || v.Interval != 0 {
			t.Errorf("unknowns of %s: %+v", v.Name, v)
		}
	}
	if want := (ingest.Lot{Vessel: "A01", Role: ingest.Watch}); len(f.Lots) != 1 || f.Lots[0] != want {
		t.Errorf("lots %+v", f.Lots)
	}
	for range f.Events() {
		t.Error("an entry where there is no file of entries")
	}
}

func TestOpenNamesThePlace(t *testing.T) {
	good := map[string]string{VesselsFile: vesselHead + "C01,,,,,,,,,\n", LotsFile: lotHead, ReadingsFile: ""}
	for name, c := range map[string]struct{ file, text, want string }{
		"not a number":  {VesselsFile, vesselHead + "C01,many,UTC,05:00,18,square,1,2,3,120\n", `vessels.csv:2:5: volume_l: not a number: "many"`},
		"infinite":      {VesselsFile, vesselHead + "C01,+Inf,,,,,,,,\n", `vessels.csv:2:5: volume_l: not a number: "+Inf"`},
		"out of bounds": {VesselsFile, vesselHead + "C01,1,,,25,,,,,\n", `vessels.csv:2:9: light_hours: not from 0 to 24: "25"`},
		"clock":         {VesselsFile, vesselHead + "C01,1,,24:00,,,,,,\n", `vessels.csv:2:8: lights_on: not a clock time HH:MM: "24:00"`},
		"zone":          {VesselsFile, vesselHead + "C01,1,Mars/Base,,,,,,,\n", `vessels.csv:2:7: zone: not a zone of the IANA time zone database: "Mars/Base"`},
		"local zone":    {VesselsFile, vesselHead + "C01,1,Local,,,,,,,\n", `vessels.csv:2:7: zone: not a zone of the IANA time zone database: "Local"`},
		"shape":         {VesselsFile, vesselHead + "C01,1,,,,saw,,,,\n", `vessels.csv:2:10: light_shape: neither square nor sine: "saw"`},
		"twice":         {VesselsFile, vesselHead + "C01,,,,,,,,,\nC01,,,,,,,,,\n", `vessels.csv:3:1: vessel: named twice: "C01"`},
		"no name":       {VesselsFile, vesselHead + ",4,,,,,,,,\n", `vessels.csv:2:1: vessel: not a name of 1 to 64 bytes`},
		"no column":     {VesselsFile, "pot\nC01\n", `vessels.csv:1: no column vessel: "pot"`},
		"column twice":  {VesselsFile, "vessel,vessel\n", `vessels.csv:1:8: column named twice: "vessel"`},
		"no header":     {VesselsFile, "", `vessels.csv:1: no header row`},
		"quotes":        {VesselsFile, vesselHead + "\"C01,,,\n", `vessels.csv:2:9: extraneous or missing " in quoted-field`},
		"time":          {LotsFile, lotHead + "L,C01,,,watch,2026-03-05T17:09:00,,,\n", `lots.csv:2:15: inoculated_at: not a time with zone such as 2026-01-31T08:00:00Z: "2026-03-05T17:09:00"`},
		"role":          {LotsFile, lotHead + "L,C01,,,judge,,,,\n", `lots.csv:2:9: role: neither watch nor reference: "judge"`},
		"order": {LotsFile, lotHead + "L,C01,,,watch,2026-03-05T17:09:00Z,,,2026-03-04T17:09:00Z\n",
			`lots.csv:2:38: ended_at: before inoculated_at: "2026-03-04T17:09:00Z"`},
	} {
		t.Run(name, func(t *testing.T) {
			files := map[string]string{}
			for file, text := range good {
				files[file] = text
			}
			files[c.file] = c.text
			dir := folder(t, files)
			_, err := Open(dir)
			if err == nil || err.Error() != filepath.Join(dir, c.want) {
				t.Errorf("got  %v\nwant %s", err, filepath.Join(dir, c.want))
			}
			var place *PlaceError
			if !errors.As(err, &place) {
				t.Error("the error does not tell its place")
			}
		})
	}
}

func TestOpenNamesEveryFault(t *testing.T) {
	dir := folder(t, map[string]string{ReadingsFile: "",
		VesselsFile: vesselHead + "C01,x,,,,,,,,\nC02,y,,,,,z,,,\n" + strings.Repeat("C03,,,,,,,,,\n", 30),
		LotsFile:    lotHead + "L,,,,,,,,\n"})
	_, err := Open(dir)
	if err == nil {
		t.Fatal("no error")
	}
	for _, want := range []string{"vessels.csv:2:5", "vessels.csv:3:5", "vessels.csv:3:11", "and 12 more", "lots.csv:2:3"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no %s in\n%v", want, err)
		}
	}
}

func TestOpenRefusesWhatIsNoRunFolder(t *testing.T) {
	if _, err := Open(t.TempDir()); !errors.Is(err, ErrNotRunFolder) {
		t.Errorf("empty folder: %v", err)
	}
	if _, err := Open(filepath.Join(t.TempDir(), "run"+Unfinished)); !errors.Is(err, ErrUnfinished) {
		t.Errorf("unfinished folder: %v", err)
	}
	two := folder(t, map[string]string{VesselsFile: vesselHead, LotsFile: lotHead, ReadingsFile: "", ReadingsFileGz: ""})
	if _, err := Open(two); err == nil || !strings.Contains(err.Error(), "only one can be meant") {
		t.Errorf("two files of readings: %v", err)
	}
	none := folder(t, map[string]string{VesselsFile: vesselHead, LotsFile: lotHead})
	if _, err := Open(none); !errors.Is(err, ErrNotRunFolder) {
		t.Errorf("no readings: %v", err)
	}
}

func TestWriteThenOpen(t *testing.T) {
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	vessels := []ingest.Vessel{
		{Name: `C "1", left`, Kind: "carboy", VolumeL: 19, Zone: newYork, LightsOn: 6*time.Hour + 5*time.Minute, LightHours: 16*time.Hour + 30*time.Minute,
			LightShape: ingest.Sine, ParUmol: 120.5, TempC: 0, TempBand: 1.5, AirLpm: 3.25, Interval: 1500 * time.Millisecond,
			Expects: []ingest.Quantity{unit.OD, unit.PH}, HarvestOD: 0.4},
		{Name: "F01", Zone: time.UTC, LightsOn: -1, LightShape: ingest.Square, TempC: 21},
	}
	lots := []ingest.Lot{{Name: "L1", Vessel: "F01", Strain: "x", Medium: "f/2", Role: ingest.Reference, Donor: "L0",
		Inoculated: time.Date(2026, 1, 2, 3, 4, 5, 6e6, time.UTC), InoculumL: 1, HarvestOD: 0.25, Ended: time.Date(2026, 1, 9, 0, 0, 0, 0, time.UTC)},
		{Name: "L2", Vessel: "F01", Role: ingest.Watch}}
	dir := filepath.Join(t.TempDir(), "deep", "run")
	w, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, step := range []error{w.Vessels(vessels), w.Readings([]byte("a 1\nb 2\n")), w.Readings(nil), w.Events([]byte("e 1\n")), w.Lots(lots), w.Readings([]byte("c 3\n")), w.Close()} {
		if step != nil {
			t.Fatal(step)
		}
	}
	f, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(f.Vessels, vessels) {
		t.Errorf("vessels %+v\nwant    %+v", f.Vessels, vessels)
	}
	if !reflect.DeepEqual(f.Lots, lots) {
		t.Errorf("lots %+v\nwant %+v", f.Lots, lots)
	}
	if got := all(t, f.Readings()); got != "a 1\nb 2\nc 3\n" {
		t.Errorf("readings %q", got)
	}
	if got := all(t, f.Events()); got != "e 1\n" {
		t.Errorf("entries %q", got)
	}
	if _, err := Create(dir); err == nil {
		t.Error("a folder was written over")
	}
	if err := w.Readings([]byte("d 4\n")); err == nil {
		t.Error("a finished folder took a line")
	}
}

func TestWriterLeavesNothingHalfDone(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	w, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Readings([]byte("no end")); err == nil {
		t.Error("took a line without its end")
	}
	if err := w.Readings([]byte(strings.Repeat("x", MaxLine) + "\n")); !errors.Is(err, ErrLineTooLong) {
		t.Errorf("long line: %v", err)
	}
	if err := w.Vessels([]ingest.Vessel{{Name: "C01", Zone: time.Local}}); err == nil {
		t.Error("took a zone that has no name")
	}
	if _, err := Create(dir); err == nil {
		t.Error("two writers for one folder")
	}
	if err := w.Close(); err == nil {
		t.Error("finished without vessels and lots")
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("the folder stands under its name although it is not whole")
	}
	if err := w.Abandon(); err != nil {
		t.Error(err)
	}
	if w, err = Create(dir); err != nil {
		t.Fatalf("after abandoning: %v", err)
	}
	if err := w.Abandon(); err != nil {
		t.Error(err)
	}
}
