package daemon

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// courses learns from the reference lots that the configuration names. What
// cannot be read is told in the log and left out: a watch with fewer of them,
// or with the literature alone, is better than none.
func (d *Daemon) courses(ctx context.Context) *expect.Library {
	var records []expect.Record
	for _, name := range d.config.ReferenceLots {
		r, err := d.reference(ctx, name)
		if err != nil {
			d.log.Error("a reference lot is left out", "lot", name, "error", err)
			continue
		}
		records = append(records, r)
	}
	if dir := d.config.ReferenceRuns; dir != "" {
		more, err := byhour.References(dir)
		if err != nil {
			d.log.Error("reference runs are left out", "folder", dir, "error", err)
		}
		records = append(records, more...)
	}
	lib := expect.Learn(records)
	d.log.Info("learnt how lots should grow", "reference_lots", len(records), "strains", len(lib.Strains))
	return &lib
}

// reference is the record of a lot that this room has grown.
func (d *Daemon) reference(ctx context.Context, name string) (expect.Record, error) {
	var lot logbook.Lot
	known := false
	d.book.Read(func(b *logbook.Book) { lot, known = b.Lot(name) })
	if !known {
		return expect.Record{}, errors.New("the logbook has no lot of that name")
	}
	for _, set := range Vessels(d.config) {
		if set.Name != lot.Vessel {
			continue
		}
		hours := byhour.Of(set)
		end := lot.Ended
		if end.IsZero() {
			end = d.now()
		}
		// The day before holds the medium that the blank is learnt from.
		for r, err := range d.past(lot.Vessel, lot.Inoculated.Add(-25*time.Hour), end) {
			if err := errors.Join(err, ctx.Err()); err != nil {
				return expect.Record{}, fmt.Errorf("read its record: %w", err)
			}
			hours.Take(r)
		}
		if hours.End() == 0 {
			return expect.Record{}, errors.New("there is no reading of it")
		}
		r := hours.Record(lot.Name, lot.Strain, lot.Medium, lot.Inoculated, byhour.HourOf(end))
		r.Ready = lot.HarvestOD
		return r, nil
	}
	return expect.Record{}, fmt.Errorf("its vessel %s is not in the configuration", lot.Vessel)
}
