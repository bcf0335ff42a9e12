package memstore

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"maps"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// within reports whether t is from one time to before another, zero being no
// bound.
func within(t, from, to time.Time) bool {
	return (from.IsZero() || !t.Before(ingest.Stamp(from))) && (to.IsZero() || t.Before(ingest.Stamp(to)))
}

// pick returns the readings that match, in order of time, vessel, quantity.
func (s *Store) pick(ctx context.Context, match func(ingest.Reading) bool) ([]ingest.Reading, error) {
	if err := s.enter(ctx); err != nil {
		return nil, fmt.Errorf("read readings: %w", err)
	}
	defer s.leave()
	var out []ingest.Reading
	for p, k := range s.disk.readings {
		r := ingest.Reading{Vessel: p.vessel, Quantity: p.quantity, Value: k.value, At: time.UnixMilli(p.ms).UTC()}
		if match(r) {
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, b ingest.Reading) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Vessel, b.Vessel), cmp.Compare(a.Quantity, b.Quantity))
	})
	return out, nil
}

func (s *Store) each(ctx context.Context, match func(ingest.Reading) bool) iter.Seq2[ingest.Reading, error] {
	return func(yield func(ingest.Reading, error) bool) {
		all, err := s.pick(ctx, match)
		if err != nil {
			yield(ingest.Reading{}, err)
			return
		}
		for _, r := range all {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// Readings yields the readings of r in order of time.
func (s *Store) Readings(ctx context.Context, r store.Range) iter.Seq2[ingest.Reading, error] {
	return s.each(ctx, func(one ingest.Reading) bool {
		return one.Vessel == r.Vessel && (r.Quantity == 0 || one.Quantity == r.Quantity) && within(one.At, r.From, r.To)
	})
}

// Between yields the readings of all vessels in order of time.
func (s *Store) Between(ctx context.Context, from, to time.Time) iter.Seq2[ingest.Reading, error] {
	return s.each(ctx, func(one ingest.Reading) bool { return within(one.At, from, to) })
}

// Newest returns the newest reading of each quantity of the vessel.
func (s *Store) Newest(ctx context.Context, vessel string) ([]ingest.Reading, error) {
	all, err := s.pick(ctx, func(r ingest.Reading) bool { return r.Vessel == vessel })
	newest := make(map[ingest.Quantity]ingest.Reading)
	for _, r := range all {
		newest[r.Quantity] = r
	}
	return slices.SortedFunc(maps.Values(newest), func(a, b ingest.Reading) int {
		return cmp.Compare(a.Quantity, b.Quantity)
	}), err
}

// Series sums up one quantity of one vessel, see store.Store.
func (s *Store) Series(ctx context.Context, vessel string, q ingest.Quantity, from, to time.Time, maxPoints int) ([]store.SeriesPoint, error) {
	if maxPoints < 1 || !q.Valid() {
		return nil, fmt.Errorf("read series: %d points of quantity %d asked for", maxPoints, q)
	}
	whole, err := s.pick(ctx, func(r ingest.Reading) bool { return r.Vessel == vessel })
	if err != nil || len(whole) == 0 {
		return nil, err
	}
	start, end := whole[0].At, whole[len(whole)-1].At.Add(time.Millisecond)
	if !from.IsZero() && from.After(start) {
		start = ingest.Stamp(from)
	}
	if !to.IsZero() && to.Before(end) {
		end = ingest.Stamp(to)
	}
	if !start.Before(end) {
		return nil, nil
	}
	points := int64(maxPoints)
	width := (end.Sub(start).Milliseconds() + points - 1) / points
	byBucket := make([][]ingest.Reading, maxPoints)
	for _, r := range whole {
		if r.Quantity == q && within(r.At, start, end) {
			i := r.At.Sub(start).Milliseconds() / width
			byBucket[i] = append(byBucket[i], r)
		}
	}
	var out []store.SeriesPoint
	for _, readings := range byBucket {
		if len(readings) > 0 {
			out = append(out, sum(readings))
		}
	}
	return out, nil
}

func sum(readings []ingest.Reading) store.SeriesPoint {
	p := store.SeriesPoint{Min: readings[0].Value, Max: readings[0].Value, Readings: len(readings)}
	var since time.Duration
	for _, r := range readings {
		p.Min, p.Max = min(p.Min, r.Value), max(p.Max, r.Value)
		p.Mean += r.Value / float64(len(readings))
		since += r.At.Sub(readings[0].At)
	}
	p.At = ingest.Stamp(readings[0].At.Add(since / time.Duration(len(readings))))
	return p
}

// Entries returns entries in the order in which they happened.
func (s *Store) Entries(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error) {
	return s.entries(ctx, vessel, func(e ingest.Entry) bool { return within(e.At, from, to) },
		func(a, b ingest.Entry) int { return cmp.Or(a.At.Compare(b.At), a.Written.Compare(b.Written)) })
}

// EntriesWritten returns entries in the order in which they were written.
func (s *Store) EntriesWritten(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error) {
	return s.entries(ctx, vessel, func(e ingest.Entry) bool { return within(e.Written, from, to) },
		func(a, b ingest.Entry) int { return a.Written.Compare(b.Written) })
}

func (s *Store) entries(ctx context.Context, vessel string, match func(ingest.Entry) bool, order func(a, b ingest.Entry) int) ([]ingest.Entry, error) {
	if err := s.enter(ctx); err != nil {
		return nil, fmt.Errorf("read entries: %w", err)
	}
	defer s.leave()
	var out []ingest.Entry
	for _, e := range s.disk.entries {
		if (vessel == "" || e.Vessel == vessel) && match(e) {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, order)
	return out, nil
}

// Refused returns what was set aside, the newest first.
func (s *Store) Refused(ctx context.Context, limit int) ([]ingest.Refused, error) {
	if err := s.enter(ctx); err != nil {
		return nil, fmt.Errorf("read refused input: %w", err)
	}
	defer s.leave()
	out := slices.Clone(s.disk.refused)
	slices.Reverse(out)
	if limit > 0 {
		out = out[:min(limit, len(out))]
	}
	return out, nil
}

// Totals counts what is kept.
func (s *Store) Totals(ctx context.Context) (store.Totals, error) {
	seen, err := s.Vessels(ctx)
	if err != nil {
		return store.Totals{}, err
	}
	if err := s.enter(ctx); err != nil {
		return store.Totals{}, fmt.Errorf("count readings: %w", err)
	}
	defer s.leave()
	return store.Totals{Readings: int64(len(s.disk.readings)), Entries: int64(len(s.disk.entries)),
		Refused: maps.Clone(s.disk.counts), Vessels: len(seen)}, nil
}

// Vessels returns the vessels of which there are readings, in order of name.
func (s *Store) Vessels(ctx context.Context) ([]store.Seen, error) {
	all, err := s.pick(ctx, func(ingest.Reading) bool { return true })
	seen := make(map[string]store.Seen)
	for _, r := range all {
		v, ok := seen[r.Vessel]
		if !ok {
			v = store.Seen{Name: r.Vessel, First: r.At}
		}
		v.Last = r.At
		v.Readings++
		seen[r.Vessel] = v
	}
	return slices.SortedFunc(maps.Values(seen), func(a, b store.Seen) int { return cmp.Compare(a.Name, b.Name) }), err
}
