package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Series sums up one quantity of one vessel from one time to before another
// (zero: no bound) in at most maxPoints stretches of equal length, for a
// chart; stretches without readings are left out. maxPoints is at least 1.
func (s *Store) Series(ctx context.Context, vessel string, q ingest.Quantity, from, to time.Time, maxPoints int) ([]SeriesPoint, error) {
	if maxPoints < 1 || !q.Valid() {
		return nil, fmt.Errorf("read series: %d points of quantity %d asked for", maxPoints, q)
	}
	v, start, end, err := s.bounds(ctx, vessel, from, to)
	if err != nil || start >= end {
		return nil, s.failed("read series", err)
	}
	b := &buckets{start: start, width: (end - start + int64(maxPoints) - 1) / int64(maxPoints), all: make(map[int64]*bucket)}
	if err := s.fill(ctx, b, series{v, q}, start, end); err != nil {
		return nil, s.failed("read series", err)
	}
	return b.points(), nil
}

// fill reads packs here and lets SQLite sum up the tail, in one snapshot.
func (s *Store) fill(ctx context.Context, b *buckets, k series, start, end int64) error {
	tx, err := s.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // nothing was written
	err = eachPacked(ctx, tx, []series{k}, start, end, func(_ series, samples []sample) {
		for _, one := range samples {
			if one.ts >= start && one.ts < end {
				b.add((one.ts-start)/b.width, bucket{one.value, one.value, one.value, float64(one.ts - start), 1})
			}
		}
	})
	if err != nil {
		return err
	}
	return each(ctx, tx, `select (ts - ?1) / ?2, min(value), max(value), sum(value), total(ts - ?1), count(*)
		from tail where ts >= ?1 and ts < ?3 and v = ?4 and q = ?5 group by 1`,
		[]any{start, b.width, end, k.v, int64(k.q)}, func(rows *sql.Rows) error {
			var i int64
			var one bucket
			err := rows.Scan(&i, &one.min, &one.max, &one.sum, &one.times, &one.n)
			b.add(i, one)
			return err
		})
}

// bucket sums up one stretch of time.
type bucket struct {
	min, max, sum float64
	times         float64 // sum of the times since the start, ms
	n             int
}

type buckets struct {
	start, width int64 // ms
	all          map[int64]*bucket
}

func (b *buckets) add(i int64, one bucket) {
	old, ok := b.all[i]
	if !ok {
		b.all[i] = &one
		return
	}
	old.min, old.max = min(old.min, one.min), max(old.max, one.max)
	old.sum += one.sum
	old.times += one.times
	old.n += one.n
}

func (b *buckets) points() []SeriesPoint {
	out := make([]SeriesPoint, 0, len(b.all))
	for _, i := range slices.SortedFunc(maps.Keys(b.all), cmp.Compare) {
		one := b.all[i]
		at := b.start + int64(one.times/float64(one.n))
		// The mean of equal numbers may round to just outside them.
		mean := min(max(one.sum/float64(one.n), one.min), one.max)
		out = append(out, SeriesPoint{At: time.UnixMilli(at).UTC(), Min: one.min, Mean: mean, Max: one.max, Readings: one.n})
	}
	return out
}
