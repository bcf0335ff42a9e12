package daemon

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// grew puts an invented lot that has grown and ended into the database of a
// room, and returns its name and strain.
func grew(t *testing.T, file string) (lot, strain string) {
	t.Helper()
	db, err := store.Open(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	begin := time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -9)
	plan := simulate.Season(4, begin, 1, 8, 0)
	start := &plan.Places[0].Starts[0].Lot
	start.Ended = plan.End.Add(-10 * time.Hour)
	world := simulate.New(plan, 4)
	for {
		readings, entries, ok := world.Step()
		if !ok {
			return start.Name, start.Strain
		}
		if len(readings)+len(entries) == 0 {
			continue
		}
		if _, err := db.Append(t.Context(), ingest.Batch{Arrived: world.Now(), Readings: readings, Entries: entries}); err != nil {
			t.Fatal(err)
		}
	}
}

func TestReferenceLotsOfTheOwnRecord(t *testing.T) {
	c := load(t, strings.Replace(plainRoom, "vessels:\n", "reference_lots: [GONE-1]\nvessels:\n  - {name: V01, interval: 2m}\n", 1))
	lot, strain := grew(t, c.Data)
	c.ReferenceLots = append(c.ReferenceLots, lot)
	var log bytes.Buffer
	d, err := New(t.Context(), Options{Config: c, Logger: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = d.Stop(t.Context()) }()
	lib := d.courses(t.Context())
	if s := lib.Strain(strain, "f/2"); s.Lots != 1 || len(s.Names) != 1 || s.Names[0] != lot {
		t.Errorf("of %s in f/2 %d lots were learnt from, %v", strain, s.Lots, s.Names)
	}
	if s := lib.Strain("another", "f/2"); s.Lots != 0 || s.WideFor == "" {
		t.Errorf("of a strain without a reference lot: %d lots, wide for %q", s.Lots, s.WideFor)
	}
	if !strings.Contains(log.String(), "GONE-1") || !strings.Contains(log.String(), "no lot of that name") {
		t.Errorf("the lot that is not there is not told of:\n%s", log.String())
	}
}
