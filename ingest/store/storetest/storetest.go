// Package storetest holds the tests that every store must pass, whatever it
// keeps its data in.
package storetest

import (
	"context"
	"iter"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// Store is what a store offers; package store says what each method promises.
type Store interface {
	Append(ctx context.Context, b ingest.Batch) (ingest.Kept, error)
	AppendAll(ctx context.Context, batches []ingest.Batch) ([]ingest.Kept, error)
	Inbox(ctx context.Context, after int64, limit int) ([]ingest.Batch, error)
	Digested(ctx context.Context, seq int64) error
	Backlog(ctx context.Context) (int64, error)
	Readings(ctx context.Context, r store.Range) iter.Seq2[ingest.Reading, error]
	Between(ctx context.Context, from, to time.Time) iter.Seq2[ingest.Reading, error]
	Newest(ctx context.Context, vessel string) ([]ingest.Reading, error)
	Series(ctx context.Context, vessel string, q ingest.Quantity, from, to time.Time, maxPoints int) ([]store.SeriesPoint, error)
	Entries(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error)
	EntriesWritten(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error)
	Refused(ctx context.Context, limit int) ([]ingest.Refused, error)
	Totals(ctx context.Context) (store.Totals, error)
	Vessels(ctx context.Context) ([]store.Seen, error)
	Pack(ctx context.Context, before time.Time) (int64, error)
	Ping(ctx context.Context) error
	Close() error
}

// Opener opens the same data again each time, as after a restart.
type Opener func() (Store, error)

// Run runs every test; fresh gives an Opener on a place that is still empty.
func Run(t *testing.T, fresh func(t *testing.T) Opener) {
	for _, c := range []struct {
		name string
		test func(t *testing.T, open Opener)
	}{
		{"append counts what is new", counts},
		{"a reading is kept once", keptOnce},
		{"sequence goes on", sequence},
		{"inbox", inbox},
		{"readings in order", order},
		{"ranges are half open", ranges},
		{"values bit for bit", exact},
		{"newest", newest},
		{"series", series},
		{"entries", entries},
		{"refused", refused},
		{"what cannot be kept is set aside", unusable},
		{"packing changes nothing", packing},
		{"use while ranging", ranging},
		{"one at a time", oneAtATime},
		{"closed", closed},
		{"cancelled", cancelled},
		{"writer and readers together", together},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, fresh(t)) })
	}
}
