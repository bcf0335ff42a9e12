package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/cmd/internal/daemon"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/logbook"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
	"github.com/nightshelf/nightshelf/ingest/store"
)

func newExport() *cobra.Command {
	var file, out, from, to string
	c := &cobra.Command{
		Use:   "export --config FILE --out DIR",
		Short: "write a stretch of the record as plain files",
		Long: `Write a stretch of the record as a run folder: vessels.csv, lots.csv, events.lp and
readings.lp.gz. It only reads, and may be used while the daemon is watching.`,
		Example: "  nightshelf export --config room.yaml --out week-09 --from 2026-02-23 --to 2026-03-02",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			room, err := config.Load(file)
			if err != nil {
				return err
			}
			begin, err1 := moment(from, room.Zone, time.Unix(0, 0))
			end, err2 := moment(to, room.Zone, time.Now().Add(time.Hour))
			if err := errors.Join(err1, err2); err != nil {
				return &wrongUse{err}
			}
			if out == "" {
				return &wrongUse{errors.New("say where to with --out")}
			}
			return export(c.Context(), c.OutOrStdout(), room, out, begin, end)
		},
	}
	c.Flags().StringVar(&file, "config", "room.yaml", "the room's configuration")
	c.Flags().StringVar(&out, "out", "", "folder to write, which must not be there yet")
	c.Flags().StringVar(&from, "from", "", "first day or moment (2026-02-23, or RFC 3339); all from the start if left out")
	c.Flags().StringVar(&to, "to", "", "day or moment to stop before; up to now if left out")
	return c
}

// moment reads a day in the room's zone, or a moment with its own.
func moment(text string, zone *time.Location, otherwise time.Time) (time.Time, error) {
	if text == "" {
		return otherwise, nil
	}
	if t, err := time.ParseInLocation(time.DateOnly, text, zone); err == nil {
		return t, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, fmt.Errorf("%q is no day such as 2026-02-23 and no moment such as 2026-02-23T17:30:00Z", text)
	}
	return t, nil
}

func export(ctx context.Context, out io.Writer, room *config.Config, dir string, from, to time.Time) (err error) {
	db, err := store.OpenToRead(ctx, room.Data)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	w, err := runfolder.Create(dir)
	if err != nil {
		return err
	}
	n, err := copyRecord(ctx, db, w, room, from, to)
	if err != nil {
		return errors.Join(err, w.Abandon())
	}
	if err := w.Close(); err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "%s: %d readings, %d entries\n", dir, n.readings, n.entries)
	return err
}

type copied struct{ readings, entries int }

// exportLines is how many readings go into one write.
const exportLines = 1000

func copyRecord(ctx context.Context, db *store.ReadOnly, w *runfolder.Writer, room *config.Config, from, to time.Time) (n copied, err error) {
	entries, err := db.EntriesWritten(ctx, "", from, to)
	if err != nil {
		return n, err
	}
	for _, e := range entries {
		line, err := lineproto.AppendEntry(nil, e)
		if err == nil {
			err = w.Events(line)
		}
		if err != nil {
			return n, err
		}
		n.entries++
	}
	vessels := daemon.Vessels(room)
	if err := errors.Join(w.Vessels(vessels), w.Lots(lotsOf(entries, vessels))); err != nil {
		return n, err
	}
	var some []ingest.Reading
	flush := func() error {
		lines, err := lineproto.AppendReading(nil, some...)
		some = some[:0]
		if err != nil {
			return err
		}
		return w.Readings(lines)
	}
	for r, err := range db.Between(ctx, from, to) {
		if err != nil {
			return n, err
		}
		some = append(some, r)
		n.readings++
		if len(some) == exportLines {
			if err := flush(); err != nil {
				return n, err
			}
		}
	}
	return n, flush()
}

// lotsOf reads the lots off the logbook as it stands, corrected and without
// what was withdrawn: those that began among the entries.
func lotsOf(entries []ingest.Entry, vessels []ingest.Vessel) []ingest.Lot {
	ready := map[string]float64{}
	for _, v := range vessels {
		ready[v.Name] = v.HarvestOD
	}
	book := logbook.New(vessels)
	book.Add(entries...)
	var out []ingest.Lot
	for _, l := range book.Lots() {
		out = append(out, ingest.Lot{Name: l.Name, Vessel: l.Vessel, Strain: l.Strain, Medium: l.Medium, Role: ingest.Watch, Donor: l.Donor,
			Inoculated: l.Inoculated, InoculumL: l.InoculumL, HarvestOD: cmp.Or(l.HarvestOD, ready[l.Vessel]), Ended: l.Ended})
	}
	return out
}
