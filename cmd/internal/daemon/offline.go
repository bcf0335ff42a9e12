package daemon

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// WriteOffline writes an entry into the database of a room that no daemon
// watches now, with the same checks and questions as page.Logbook; the watch
// takes it in when it starts. What only the watch knows of lots is not asked
// about. It is an error that is ingest.ErrLocked if a daemon holds the database.
func WriteOffline(ctx context.Context, room *config.Config, e ingest.Entry, overruledBy string, now time.Time) (_ ingest.Entry, _ []logbook.Doubt, err error) {
	db, err := store.Open(ctx, room.Data)
	if err != nil {
		return e, nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	folded, err := foldAll(ctx, room, db.Entries)
	if err != nil {
		return e, nil, err
	}
	e, doubts, err := ask(room, folded, logbook.Outside{Zone: room.Zone, DoseUnfit: doseUnfit(room)}, e, now)
	if err != nil || len(doubts) > 0 && overruledBy == "" {
		return e, doubts, err
	}
	e = logbook.Overrule(e, doubts, overruledBy)
	if _, err := db.Append(ctx, ingest.Batch{Arrived: now, Entries: []ingest.Entry{e}}); err != nil {
		return e, nil, fmt.Errorf("write the entry: %w", err)
	}
	return e, nil, nil
}

// foldAll reads a whole logbook.
func foldAll(ctx context.Context, room *config.Config, entries func(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error)) (*logbook.Book, error) {
	b := logbook.New(Vessels(room))
	all, err := entries(ctx, "", time.Time{}, time.Time{})
	if err != nil {
		return nil, fmt.Errorf("read the logbook: %w", err)
	}
	b.Add(all...)
	return b, nil
}

// ask readies an entry to be written at now: checked, its time set, what the
// book knows filled in, and held against the guards.
func ask(room *config.Config, b *logbook.Book, out logbook.Outside, e ingest.Entry, now time.Time) (ingest.Entry, []logbook.Doubt, error) {
	e.Written, e.WrittenOnArrival = ingest.Stamp(now), false
	if e.At.IsZero() && e.Kind != ingest.Correct && e.Kind != ingest.Withdraw {
		e.At = now
	}
	e, err := b.Settle(e)
	if err != nil {
		return e, nil, err
	}
	if e.At = ingest.Stamp(e.At); e.At.After(now.Add(ahead)) {
		return e, nil, &logbook.Fault{Field: "at", Says: fmt.Sprintf("%s is still to come", e.At.Format(time.RFC3339))}
	}
	// The store sets aside what it cannot keep; here somebody waits to hear it.
	if set := store.Usable(ingest.Batch{Entries: []ingest.Entry{e}}).Refused; len(set) > 0 {
		return e, nil, &logbook.Fault{Says: set[0].Detail}
	}
	for _, v := range room.Vessels {
		if v.Name == e.Vessel {
			return e, b.Doubts(e, out), nil
		}
	}
	return e, nil, &logbook.Fault{Field: "vessel", Says: fmt.Sprintf("no vessel %q stands on this shelf", e.Vessel)}
}
