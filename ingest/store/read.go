package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// blockHours is how much of one vessel is read at once.
const blockHours = 24

// Readings yields the readings of r in order of time, and of quantity within
// one instant. An error is yielded once, as the last. The caller may use the
// store while it ranges; it holds no connection between two readings.
func (s *Store) Readings(ctx context.Context, r Range) iter.Seq2[ingest.Reading, error] {
	return func(yield func(ingest.Reading, error) bool) {
		v, from, to, err := s.bounds(ctx, r.Vessel, r.From, r.To)
		if err != nil {
			yield(ingest.Reading{}, s.failed("read readings", err))
			return
		}
		names := map[int64]string{v: r.Vessel}
		for start := from; start < to; {
			end := min((hourOf(start)+blockHours)*hourMs, to)
			block, err := s.block(ctx, seriesOf(v, r.Quantity), start, end)
			if !hand(block, names, s.failed("read readings", err), yield) {
				return
			}
			start = end
		}
	}
}

// Between yields the readings of all vessels from one time to before another
// (zero: no bound) in order of time, then of the vessel's name, then of
// quantity. As with Readings, nothing is held between two of them.
func (s *Store) Between(ctx context.Context, from, to time.Time) iter.Seq2[ingest.Reading, error] {
	return func(yield func(ingest.Reading, error) bool) {
		start, end := int64(math.MinInt64), int64(math.MaxInt64)
		if !from.IsZero() {
			start = from.UnixMilli()
		}
		if !to.IsZero() {
			end = to.UnixMilli()
		}
		for {
			hour, err := s.nextHour(ctx, start, end)
			if err != nil {
				yield(ingest.Reading{}, s.failed("read readings", err))
				return
			}
			if hour < 0 {
				return
			}
			names, all, err := s.everySeries(ctx)
			var block []keyed
			if err == nil {
				block, err = s.block(ctx, all, max(start, hour*hourMs), min(end, (hour+1)*hourMs))
			}
			sortByName(block, names)
			if !hand(block, names, s.failed("read readings", err), yield) {
				return
			}
			start = (hour + 1) * hourMs
		}
	}
}

// keyed is a reading by the number of its vessel.
type keyed struct {
	series
	sample
}

// hand gives a block to the consumer, and err after it; it reports whether to
// go on.
func hand(block []keyed, names map[int64]string, err error, yield func(ingest.Reading, error) bool) bool {
	for _, k := range block {
		r := ingest.Reading{Vessel: names[k.v], Quantity: k.q, Value: k.value, At: time.UnixMilli(k.ts).UTC()}
		if !yield(r, nil) {
			return false
		}
	}
	if err != nil {
		yield(ingest.Reading{}, err)
	}
	return err == nil
}

func sortByName(block []keyed, names map[int64]string) {
	slices.SortFunc(block, func(a, b keyed) int {
		return cmp.Or(cmp.Compare(a.ts, b.ts), cmp.Compare(names[a.v], names[b.v]), cmp.Compare(a.q, b.q))
	})
}

// seriesOf lists one quantity of a vessel, or all with 0.
func seriesOf(v int64, q ingest.Quantity) []series {
	if q != 0 {
		return []series{{v, q}}
	}
	var all []series
	for q := range ingest.Quantity(math.MaxUint8) {
		if q.Valid() {
			all = append(all, series{v, q})
		}
	}
	return all
}

// bounds returns the number of the vessel and the part of the times asked for
// that can hold readings of it, from to before to, ms. A vessel never seen
// has none.
func (s *Store) bounds(ctx context.Context, vessel string, from, to time.Time) (v, start, end int64, err error) {
	err = s.reader.QueryRowContext(ctx, "select id, first, last + 1 from vessel where name = ?", vessel).Scan(&v, &start, &end)
	if isNoRow(err) {
		return 0, 0, 0, nil
	}
	if !from.IsZero() {
		start = max(start, from.UnixMilli())
	}
	if !to.IsZero() {
		end = min(end, to.UnixMilli())
	}
	return v, start, end, err
}

// nextHour returns the first hour with readings from start to before end
// (ms), -1 if there is none.
func (s *Store) nextHour(ctx context.Context, start, end int64) (int64, error) {
	var packed, tail sql.NullInt64
	err := s.reader.QueryRowContext(ctx, `select
		(select min(hour) from packed_hour where hour >= ? and hour * 3600000 < ?),
		(select min(ts) from tail where ts >= ? and ts < ?)`,
		hourOf(max(start, 0)), end, start, end).Scan(&packed, &tail)
	switch {
	case err != nil:
		return -1, err
	case packed.Valid && tail.Valid:
		return min(packed.Int64, hourOf(tail.Int64)), nil
	case packed.Valid:
		return packed.Int64, nil
	case tail.Valid:
		return hourOf(tail.Int64), nil
	}
	return -1, nil
}

// everySeries lists the series that hold readings, and the vessels' names.
func (s *Store) everySeries(ctx context.Context) (map[int64]string, []series, error) {
	names := make(map[int64]string)
	var all []series
	err := each(ctx, s.reader, "select n.v, n.q, v.name from newest n join vessel v on v.id = n.v order by n.v, n.q", nil,
		func(rows *sql.Rows) error {
			var k series
			var name string
			err := rows.Scan(&k.v, &k.q, &name)
			names[k.v] = name
			all = append(all, k)
			return err
		})
	return names, all, err
}

// Newest returns the newest reading of each quantity of the vessel, in order
// of quantity; none for a vessel never seen.
func (s *Store) Newest(ctx context.Context, vessel string) ([]ingest.Reading, error) {
	var out []ingest.Reading
	err := each(ctx, s.reader, "select n.q, n.ts, n.value from newest n join vessel v on v.id = n.v where v.name = ? order by n.q",
		[]any{vessel}, func(rows *sql.Rows) error {
			r := ingest.Reading{Vessel: vessel}
			var ts int64
			err := rows.Scan(&r.Quantity, &ts, &r.Value)
			r.At = time.UnixMilli(ts).UTC()
			out = append(out, r)
			return err
		})
	if err != nil {
		return nil, s.failed(fmt.Sprintf("read newest readings of vessel %q", vessel), err)
	}
	return out, nil
}
