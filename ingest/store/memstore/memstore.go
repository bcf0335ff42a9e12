// Package memstore keeps what package store keeps, with the same methods, in
// memory: for tests that need no file, and as the plain statement of what a
// store has to do. It passes the same tests, see package storetest.
package memstore

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// Disk is what outlives a Store: the file of the one in memory. The zero Disk
// is empty and ready. One Store at a time is open on it.
type Disk struct {
	mu       sync.Mutex // guards all below
	held     bool
	readings map[place]kept
	entries  []ingest.Entry // in order of arrival
	ids      map[string]bool
	refused  []ingest.Refused // in order of arrival
	counts   map[ingest.Reason]int64
	inbox    []ingest.Batch
	seq      int64
}

type place struct {
	vessel   string
	quantity ingest.Quantity
	ms       int64
}

type kept struct {
	value  float64
	packed bool
}

// Store is an open Disk.
type Store struct {
	disk   *Disk
	closed bool // guarded by disk.mu
}

// Open opens what is on the disk. The error wraps ingest.ErrLocked while
// another Store is open on it.
func Open(disk *Disk) (*Store, error) {
	disk.mu.Lock()
	defer disk.mu.Unlock()
	if disk.held {
		return nil, fmt.Errorf("open database in memory: %w", ingest.ErrLocked)
	}
	disk.held = true
	if disk.readings == nil {
		disk.readings, disk.ids = make(map[place]kept), make(map[string]bool)
		disk.counts = make(map[ingest.Reason]int64)
	}
	return &Store{disk: disk}, nil
}

// Close lets go of the disk. A second call does nothing.
func (s *Store) Close() error {
	s.disk.mu.Lock()
	defer s.disk.mu.Unlock()
	if !s.closed {
		s.closed, s.disk.held = true, false
	}
	return nil
}

// enter locks the disk for one call; leave must follow where err is nil.
func (s *Store) enter(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.disk.mu.Lock()
	if s.closed {
		s.disk.mu.Unlock()
		return ingest.ErrClosed
	}
	return nil
}

func (s *Store) leave() { s.disk.mu.Unlock() }

// Append keeps b, all of it or nothing.
func (s *Store) Append(ctx context.Context, b ingest.Batch) (ingest.Kept, error) {
	all, err := s.AppendAll(ctx, []ingest.Batch{b})
	if err != nil {
		return ingest.Kept{}, err
	}
	return all[0], nil
}

// AppendAll keeps several batches, all of them or none.
func (s *Store) AppendAll(ctx context.Context, batches []ingest.Batch) ([]ingest.Kept, error) {
	if err := s.enter(ctx); err != nil {
		return nil, fmt.Errorf("append: %w", err)
	}
	defer s.leave()
	out := make([]ingest.Kept, len(batches))
	for i, b := range batches {
		out[i] = s.disk.append(store.Usable(b))
	}
	return out, nil
}

func (d *Disk) append(b ingest.Batch) (out ingest.Kept) {
	for _, r := range b.Readings {
		p := place{r.Vessel, r.Quantity, r.At.UnixMilli()}
		if _, ok := d.readings[p]; ok {
			out.Duplicates++
			continue
		}
		d.readings[p] = kept{value: r.Value}
		out.Stored++
	}
	for _, e := range b.Entries {
		if id := e.ID(); !d.ids[id] {
			d.ids[id] = true
			d.entries = append(d.entries, e)
			out.Entries++
		}
	}
	for _, r := range b.Refused {
		d.counts[r.Reason]++
		d.refused = append(d.refused, r)
	}
	d.refused = d.refused[max(0, len(d.refused)-store.MaxRefused):]
	out.Refused = len(b.Refused)
	if len(b.Readings)+len(b.Entries) > 0 {
		d.seq++
		out.Seq = d.seq
		b.Seq, b.Refused = d.seq, nil
		d.inbox = append(d.inbox, b)
	}
	return out
}

// Inbox returns batches that are not digested, see store.Store.
func (s *Store) Inbox(ctx context.Context, after int64, limit int) ([]ingest.Batch, error) {
	if err := s.enter(ctx); err != nil {
		return nil, fmt.Errorf("read inbox: %w", err)
	}
	defer s.leave()
	var out []ingest.Batch
	for _, b := range s.disk.inbox {
		if b.Seq > after && (limit <= 0 || len(out) < limit) {
			out = append(out, b)
		}
	}
	return out, nil
}

// Digested removes batches up to and with seq from the inbox.
func (s *Store) Digested(ctx context.Context, seq int64) error {
	if err := s.enter(ctx); err != nil {
		return fmt.Errorf("empty inbox: %w", err)
	}
	defer s.leave()
	s.disk.inbox = slices.DeleteFunc(s.disk.inbox, func(b ingest.Batch) bool { return b.Seq <= seq })
	return nil
}

// Backlog returns how many batches wait in the inbox.
func (s *Store) Backlog(ctx context.Context) (int64, error) {
	if err := s.enter(ctx); err != nil {
		return 0, fmt.Errorf("count inbox: %w", err)
	}
	defer s.leave()
	return int64(len(s.disk.inbox)), nil
}

// Ping reports whether the store can be written.
func (s *Store) Ping(ctx context.Context) error {
	if err := s.enter(ctx); err != nil {
		return fmt.Errorf("ping: %w", err)
	}
	s.leave()
	return nil
}

// Pack marks what would be packed and counts it.
func (s *Store) Pack(ctx context.Context, before time.Time) (int64, error) {
	if err := s.enter(ctx); err != nil {
		return 0, fmt.Errorf("pack: %w", err)
	}
	defer s.leave()
	const hour = int64(time.Hour / time.Millisecond)
	var moved int64
	for p, k := range s.disk.readings {
		if !k.packed && (p.ms/hour+1)*hour <= before.UnixMilli() {
			s.disk.readings[p] = kept{k.value, true}
			moved++
		}
	}
	return moved, nil
}
