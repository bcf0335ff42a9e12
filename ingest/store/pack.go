package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// The parts of the number of a pack: vessel, quantity, hour since 1970.
const (
	vesselShift   = 40
	quantityShift = 32
	maxVessels    = 1<<23 - 1
)

// vesselsPerTransaction bounds how long packing holds up those who append.
const vesselsPerTransaction = 64

func hourOf(ms int64) int64 { return ms / hourMs }

func packID(s series, hour int64) int64 {
	return s.v<<vesselShift | int64(s.q)<<quantityShift | hour
}

func partsOf(id int64) (series, int64) {
	return series{id >> vesselShift, ingest.Quantity(id >> quantityShift & 0xff)}, id & (1<<quantityShift - 1)
}

func loadPack(ctx context.Context, tx *sql.Tx, id int64) ([]sample, error) {
	var data []byte
	err := tx.QueryRowContext(ctx, "select data from pack where id = ?", id).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return unpack(id, data)
}

func unpack(id int64, data []byte) ([]sample, error) {
	s, hour := partsOf(id)
	samples, err := decodePack(hour*hourMs, data)
	if err != nil {
		return nil, fmt.Errorf("packed hour %s of vessel number %d, %s, is damaged: %w",
			time.UnixMilli(hour*hourMs).UTC().Format(time.RFC3339), s.v, s.q, err)
	}
	return samples, nil
}

// Pack moves the readings of every hour that ended at or before the given
// time out of the tail, hour by hour and some vessels at a time, each part in
// one transaction. It returns how many readings it moved. Nothing that is
// read changes. It is meant to be called every hour or so with a time some
// hours ago: late readings are welcome at any time, but the tail should not
// grow much, because looking for one vessel in it means passing all others.
func (s *Store) Pack(ctx context.Context, before time.Time) (int64, error) {
	var moved int64
	end := hourOf(before.UnixMilli()) * hourMs
	for {
		hour, err := s.oldestInTail(ctx, end)
		if err != nil || hour < 0 {
			return moved, s.failed("pack", err)
		}
		var vessels int64
		if err := s.reader.QueryRowContext(ctx, "select coalesce(max(id), 0) from vessel").Scan(&vessels); err != nil {
			return moved, s.failed("pack", err)
		}
		for v := int64(0); v <= vessels; v += vesselsPerTransaction {
			n, err := s.packHour(ctx, hour, v, v+vesselsPerTransaction)
			if err != nil {
				return moved, fmt.Errorf("pack: %w", err)
			}
			moved += n
		}
	}
}

// oldestInTail returns the oldest hour of the tail before end (ms), -1 if
// there is none.
func (s *Store) oldestInTail(ctx context.Context, end int64) (int64, error) {
	var ts sql.NullInt64
	err := s.reader.QueryRowContext(ctx, "select min(ts) from tail where ts < ?", end).Scan(&ts)
	if err != nil || !ts.Valid {
		return -1, err
	}
	return hourOf(ts.Int64), nil
}

// packHour packs one hour of the vessels numbered from v to before w.
func (s *Store) packHour(ctx context.Context, hour, v, w int64) (moved int64, err error) {
	err = s.withTurn(ctx, func(tx *sql.Tx) error {
		where := " from tail where ts >= ? and ts < ? and v >= ? and v < ?"
		args := []any{hour * hourMs, (hour + 1) * hourMs, v, w}
		groups := make(map[series][]sample)
		err := each(ctx, tx, "select v, q, ts, value"+where+" order by ts", args, func(rows *sql.Rows) error {
			var k series
			var one sample
			err := rows.Scan(&k.v, &k.q, &one.ts, &one.value)
			groups[k] = append(groups[k], one)
			moved++
			return err
		})
		if err != nil || moved == 0 {
			return err
		}
		for k, samples := range groups {
			if err := mergePack(ctx, tx, packID(k, hour), samples); err != nil {
				return err
			}
		}
		if _, err := tx.ExecContext(ctx, "insert into packed_hour (hour) values (?) on conflict do nothing", hour); err != nil {
			return err
		}
		// Before the commit: to look into packs that are not there costs a
		// little, not to look into one that is would keep a duplicate.
		s.packedTo = max(s.packedTo, hour+1)
		_, err = tx.ExecContext(ctx, "delete"+where, args...)
		return err
	})
	if err != nil {
		return 0, err
	}
	return moved, nil
}

// mergePack adds samples to what the pack holds already: late readings.
func mergePack(ctx context.Context, tx *sql.Tx, id int64, samples []sample) error {
	old, err := loadPack(ctx, tx, id)
	if err != nil {
		return err
	}
	samples = append(old, samples...)
	slices.SortStableFunc(samples, func(a, b sample) int { return cmp.Compare(a.ts, b.ts) })
	_, hour := partsOf(id)
	_, err = tx.ExecContext(ctx, "insert into pack (id, data) values (?, ?) on conflict (id) do update set data = excluded.data",
		id, encodePack(hour*hourMs, samples))
	return err
}
