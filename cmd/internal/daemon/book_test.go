package daemon

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

const handRoom = `room: Test room
listen: 127.0.0.1:0
broker: {embedded: "127.0.0.1:0", topics: ["shelf/#"]}
bleach: {percent: 5, by: weight}
recipes:
  - {name: house, parts: [{name: A, ml_per_l: 0.25}, {name: B, ml_per_l: 0.25}]}
vessels:
  - {name: C01, interval: 2m, volume_l: 18}
  - {name: F01, kind: flask, volume_l: 2, by_hand: true}
`

// write writes an entry as it is typed, some time ago, in spite of all doubts
// if who says so; it returns the doubts.
func write(t *testing.T, d *Daemon, ago time.Duration, who, line string) (ingest.Entry, string) {
	t.Helper()
	now := time.Now()
	e, err := logbook.Parse(strings.Fields(line), now.Add(-ago), time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	e, doubts, err := d.book.Write(t.Context(), e, who)
	if err != nil {
		t.Fatalf("%s: %v", line, err)
	}
	var codes []string
	for _, x := range doubts {
		codes = append(codes, x.Code)
	}
	return e, strings.Join(codes, " ")
}

// until waits for the shelf to come to something.
func until(t *testing.T, d *Daemon, what string, holds func(page.VesselView) bool, vessel string) page.VesselView {
	t.Helper()
	s := &shelf{d: d, trails: map[string]trail{}}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	var last page.VesselView
	for tick := time.NewTicker(20 * time.Millisecond); ; {
		for _, v := range s.Shelf().Vessels {
			if v.Vessel.Name == vessel {
				if last = v; holds(v) {
					return v
				}
			}
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			t.Fatalf("%s never came: %+v", what, last.Estimate)
		}
	}
}

func TestGuardAsksAndIsOverruled(t *testing.T) {
	d := start(t, load(t, handRoom))
	const inoculate = "C01 inoculate 1.8L --lot T1 --strain tisochrysis-lutea --volume 18L"
	if _, asked := write(t, d, time.Hour, "", inoculate); asked != "chlorine_untested dose_missing" {
		t.Fatalf("asks %q", asked)
	}
	if kept, _ := d.store.Entries(t.Context(), "", time.Time{}, time.Time{}); len(kept) != 0 {
		t.Fatalf("written before it was answered: %v", kept)
	}
	if _, asked := write(t, d, time.Hour, "ana", inoculate); asked != "" {
		t.Fatalf("overruled, still asks %q", asked)
	}
	v := until(t, d, "the lot", func(v page.VesselView) bool { return v.Estimate.Lot == "T1" }, "C01")
	if v.FilledL != 18 {
		t.Errorf("C01 holds %v L", v.FilledL)
	}
	kept, err := d.store.Entries(t.Context(), "C01", time.Time{}, time.Time{})
	if err != nil || len(kept) != 1 || kept[0].Str(logbook.OverruledBy) != "ana" {
		t.Errorf("kept: %v, %v", kept, err)
	}
	// The house's bottles are known: 18 mL of A are four times too much.
	if _, asked := write(t, d, 30*time.Minute, "", "C01 dose --a 18ml --b 18ml --medium house"); asked != "dose_unfit" {
		t.Errorf("a wrong dose asks %q", asked)
	}
	if _, asked := write(t, d, 30*time.Minute, "", "C01 dose --a 4.5ml --b 4.5ml --medium house"); asked != "" {
		t.Errorf("a right dose asks %q", asked)
	}
}

// The label of a vessel is one tap away.
func TestLabelOfThePage(t *testing.T) {
	d := start(t, load(t, "public_url: https://shelf.example\n"+handRoom))
	write(t, d, time.Hour, "ana", "C01 inoculate 1.8L --lot T<1 --strain tisochrysis-lutea --volume 18L")
	code, body := get(t, d.PageURL()+"/label?vessel=C01")
	for _, part := range []string{"<svg", "T&lt;1", "tisochrysis-lutea", "<path"} {
		if code != 200 || !strings.Contains(body, part) {
			t.Errorf("label answers %d and lacks %q", code, part)
		}
	}
	for path, want := range map[string]int{"/label?vessel=C99": 404, "/label": 404, "/label?vessel=C01&size=1x1": 400} {
		if code, _ := get(t, d.PageURL()+path); code != want {
			t.Errorf("%s answers %d, want %d", path, code, want)
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	d := start(t, load(t, handRoom))
	for _, tt := range []struct {
		e    ingest.Entry
		want string
	}{
		{ingest.Entry{Vessel: "C99", Kind: ingest.Rinse}, `no vessel "C99" stands on this shelf`},
		{ingest.Entry{Vessel: "C01", Kind: "brew"}, "is no kind of entry"},
		{ingest.Entry{Vessel: "C01", Kind: ingest.Rinse, At: time.Now().Add(time.Hour)}, "is still to come"},
		{ingest.Entry{Vessel: "C01", Kind: ingest.Withdraw, Fields: map[string]ingest.Value{"entry": ingest.Text("abcdef")}}, "no entry has an id"},
	} {
		_, _, err := d.book.Write(t.Context(), tt.e, "")
		var fault *logbook.Fault
		if !errors.As(err, &fault) || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s %s: error %v, want a fault with %q", tt.e.Vessel, tt.e.Kind, err, tt.want)
		}
	}
}

// A flask that nobody has a probe for: counts drive it, through a restart.
func TestVesselByHand(t *testing.T) {
	c := load(t, handRoom)
	d, err := New(t.Context(), Options{Config: c})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	const day = 24 * time.Hour
	write(t, d, 5*day, "ana", "F01 inoculate 0.2L --lot S1 --strain tisochrysis-lutea --role stock --volume 2L --harvest-cells 8e6/ml")
	for i, cells := range []string{"4e5", "7e5", "1.2e6"} {
		write(t, d, time.Duration(4-i)*day, "", "F01 count "+cells+"/ml")
	}
	grown := func(v page.VesselView) bool { return v.Estimate.Growth.Known() && v.Estimate.Density.Likely > 1 }
	seen := func(v page.VesselView) string {
		return fmt.Sprintf("%.2f %s, %.2f/d, harvest at %g, %d points, %d in the course, alarms %d", v.Estimate.Density.Likely, v.Unit,
			v.Estimate.Growth.Likely, v.HarvestOD, len(v.Trail), min(len(v.Expected), 1), len(v.Alarms))
	}
	// ln(1.2e6/4e5) / 2 d = 0.549 a day, the middle one a little off.
	const want = "1.20 million cells/mL, 0.55/d, harvest at 8, 3 points, 1 in the course, alarms 0"
	if got := seen(until(t, d, "growth from counts", grown, "F01")); got != want {
		t.Errorf("shown: %s\nwant   %s", got, want)
	}
	_, body := get(t, d.PageURL()+"/vessel/F01")
	for _, part := range []string{"million cells/mL", "counted "} {
		if !strings.Contains(body, part) {
			t.Errorf("the page does not say %q", part)
		}
	}
	if err := d.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	d = start(t, c)
	if got := seen(until(t, d, "the same after a restart", grown, "F01")); got != want {
		t.Errorf("after a restart: %s\nwant %s", got, want)
	}
}

func TestAmounts(t *testing.T) {
	d := start(t, load(t, handRoom))
	lines, cautions := d.book.Amounts("C01", ingest.Chlorinate)
	if len(lines) == 0 || !strings.Contains(lines[0], "8.8 mL of bleach for 18 L") || len(cautions) == 0 {
		t.Errorf("bleach for C01: %q, cautions %q", lines, cautions)
	}
	if lines, _ := d.book.Amounts("C01", ingest.Dose); len(lines) == 0 || !strings.Contains(lines[0], "A 4.5 mL, B 4.5 mL") {
		t.Errorf("nutrients for C01: %q", lines)
	}
}

// A correction of yesterday is lived through from the store.
func TestCorrectionRelives(t *testing.T) {
	d := start(t, load(t, handRoom))
	write(t, d, 30*time.Hour, "ana", "C01 inoculate 1.8L --lot RIGHT --strain a --volume 18L")
	wrong, _ := write(t, d, 20*time.Hour, "ana", "C01 inoculate 1.8L --lot WRONG --strain b")
	until(t, d, "the wrong lot", func(v page.VesselView) bool { return v.Estimate.Lot == "WRONG" }, "C01")
	write(t, d, 0, "ana", "C01 withdraw "+wrong.ID()[:8])
	until(t, d, "the right lot", func(v page.VesselView) bool { return v.Estimate.Lot == "RIGHT" && v.Estimate.Strain == "a" }, "C01")
}
