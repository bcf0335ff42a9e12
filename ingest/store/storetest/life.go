package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

func oneAtATime(t *testing.T, open Opener) {
	s := opened(t, open)
	if second, err := open(); !errors.Is(err, ingest.ErrLocked) {
		t.Errorf("a second open gives %v and %v, want %v", second, err, ingest.ErrLocked)
	}
	keep(t, s, batch(reading("C07", unit.OD, 1, 0)))
	s = reopened(t, s, open)
	if err := s.Ping(t.Context()); err != nil {
		t.Error(err)
	}
}

func closed(t *testing.T, open Opener) {
	s := opened(t, open)
	for range 2 {
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	ctx := t.Context()
	_, appendErr := s.Append(ctx, batch(reading("C07", unit.OD, 1, 0)))
	_, inboxErr := s.Inbox(ctx, 0, 0)
	_, backlogErr := s.Backlog(ctx)
	_, newestErr := s.Newest(ctx, "C07")
	_, entriesErr := s.Entries(ctx, "", time.Time{}, time.Time{})
	_, refusedErr := s.Refused(ctx, 0)
	_, totalsErr := s.Totals(ctx)
	_, vesselsErr := s.Vessels(ctx)
	_, packErr := s.Pack(ctx, at(0))
	var readErr error
	for _, err := range s.Readings(ctx, store.Range{Vessel: "C07"}) {
		readErr = err
	}
	for i, err := range []error{appendErr, inboxErr, backlogErr, newestErr, entriesErr, refusedErr, totalsErr, vesselsErr,
		packErr, readErr, s.Digested(ctx, 1), s.Ping(ctx)} {
		if !errors.Is(err, ingest.ErrClosed) {
			t.Errorf("call %d on a closed store gives %v", i, err)
		}
	}
}

func cancelled(t *testing.T, open Opener) {
	s := opened(t, open)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Append(ctx, batch(reading("C07", unit.OD, 1, 0))); !errors.Is(err, context.Canceled) {
		t.Errorf("append gives %v", err)
	}
	same(t, "after that", keep(t, s, batch(reading("C07", unit.OD, 1, 0))), ingest.Kept{Seq: 1, Stored: 1})
}

// together has writers, a packer and readers at work at once: every reader
// sees whole batches in order, and in the end everything is there once.
func together(t *testing.T, open Opener) {
	const writers, batches, perBatch = 3, 40, 8
	s := opened(t, open)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var writing, others sync.WaitGroup
	for w := range writers {
		writing.Go(func() {
			for i := range batches {
				var b ingest.Batch
				for j := range perBatch {
					b.Readings = append(b.Readings, reading(fmt.Sprint("W", w), unit.OD, float64(i), time.Duration(i*perBatch+j)*5*time.Minute))
				}
				if kept, err := s.Append(ctx, b); err != nil || kept.Stored != perBatch {
					t.Errorf("append: %+v, %v", kept, err)
				}
			}
		})
	}
	others.Go(func() {
		for ctx.Err() == nil {
			if _, err := s.Pack(ctx, at(1000*time.Hour)); err != nil && ctx.Err() == nil {
				t.Errorf("pack: %v", err)
			}
		}
	})
	others.Go(func() {
		for ctx.Err() == nil {
			if err := checkWhole(ctx, s, perBatch); err != nil && ctx.Err() == nil {
				t.Error(err)
			}
		}
	})
	writing.Wait()
	cancel()
	others.Wait()
	if total := must(s.Totals(t.Context()))(t); total.Readings != writers*batches*perBatch {
		t.Errorf("%d readings, want %d", total.Readings, writers*batches*perBatch)
	}
	if n := len(collect(t, s.Between(t.Context(), time.Time{}, time.Time{}))); n != writers*batches*perBatch {
		t.Errorf("%d readings found, want %d", n, writers*batches*perBatch)
	}
}

// checkWhole looks at what is there now: batches come back in order and
// whole, and what a batch holds can be read.
func checkWhole(ctx context.Context, s Store, perBatch int) error {
	all, err := s.Inbox(ctx, 0, 0)
	if err != nil {
		return err
	}
	for i, b := range all {
		if len(b.Readings) != perBatch || b.Seq != int64(i+1) {
			return fmt.Errorf("batch %d has number %d and %d readings", i, b.Seq, len(b.Readings))
		}
	}
	if len(all) == 0 {
		return nil
	}
	last := all[len(all)-1].Readings
	n := 0
	r := store.Range{Vessel: last[0].Vessel, From: last[0].At, To: last[perBatch-1].At.Add(time.Millisecond)}
	for got, err := range s.Readings(ctx, r) {
		if err != nil {
			return err
		}
		if got.Value != last[0].Value {
			return fmt.Errorf("value %g among those of %g", got.Value, last[0].Value)
		}
		n++
	}
	if n != perBatch {
		return fmt.Errorf("%d of %d readings of a batch are there", n, perBatch)
	}
	return nil
}
