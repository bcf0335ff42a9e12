package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"slices"
)

func isNoRow(err error) bool { return errors.Is(err, sql.ErrNoRows) }

// block reads the given series from start to before end (ms), from packs and
// tail in one snapshot, so that a reading which is just being packed is seen
// once. It returns them in order of time, vessel number and quantity; what was
// read before an error is not lost with it.
func (s *Store) block(ctx context.Context, all []series, start, end int64) (out []keyed, err error) {
	tx, err := s.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	defer tx.Rollback() //nolint:errcheck // nothing was written
	keep := func(k keyed) {
		if k.ts >= start && k.ts < end {
			out = append(out, k)
		}
	}
	if err := eachPacked(ctx, tx, all, start, end, func(k series, samples []sample) {
		for _, one := range samples {
			keep(keyed{k, one})
		}
	}); err != nil {
		return out, err
	}
	if err := eachInTail(ctx, tx, all, start, end, keep); err != nil {
		return out, err
	}
	slices.SortFunc(out, func(a, b keyed) int {
		return cmp.Or(cmp.Compare(a.ts, b.ts), cmp.Compare(a.v, b.v), cmp.Compare(a.q, b.q))
	})
	return out, nil
}

// eachPacked calls visit with every pack of the series that overlaps the
// stretch.
func eachPacked(ctx context.Context, tx *sql.Tx, all []series, start, end int64, visit func(series, []sample)) error {
	find, err := tx.PrepareContext(ctx, "select id, data from pack where id >= ? and id <= ? order by id")
	if err != nil {
		return err
	}
	defer find.Close()
	for _, k := range all {
		rows, err := find.QueryContext(ctx, packID(k, hourOf(start)), packID(k, hourOf(end-1)))
		if err != nil {
			return err
		}
		if err := visitPacks(rows, k, visit); err != nil {
			return err
		}
	}
	return nil
}

func visitPacks(rows *sql.Rows, k series, visit func(series, []sample)) error {
	defer rows.Close()
	for rows.Next() {
		var id int64
		var data sql.RawBytes
		if err := rows.Scan(&id, &data); err != nil {
			return err
		}
		samples, err := unpack(id, data)
		if err != nil {
			return err
		}
		visit(k, samples)
	}
	return rows.Err()
}

// eachInTail calls visit with every reading of the series in the tail.
func eachInTail(ctx context.Context, tx *sql.Tx, all []series, start, end int64, visit func(keyed)) error {
	wanted := make(map[series]struct{}, len(all))
	least, most := int64(1)<<62, int64(0)
	for _, k := range all {
		wanted[k] = struct{}{}
		least, most = min(least, k.v), max(most, k.v)
	}
	return each(ctx, tx, "select ts, v, q, value from tail where ts >= ? and ts < ? and v >= ? and v <= ? order by ts, v, q",
		[]any{start, end, least, most}, func(rows *sql.Rows) error {
			var k keyed
			if err := rows.Scan(&k.ts, &k.v, &k.q, &k.value); err != nil {
				return err
			}
			if _, ok := wanted[k.series]; ok {
				visit(k)
			}
			return nil
		})
}
