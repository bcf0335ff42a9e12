package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Entries returns the entries of one vessel (empty: of all) that happened
// from one time to before another (zero: no bound), in the order in which
// they happened, then were written, then arrived.
func (s *Store) Entries(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error) {
	return s.entries(ctx, `select n, data from entry where (?1 = '' or vessel = ?1) and at >= ?2 and at < ?3
		order by at, written, n`, vessel, from, to)
}

// EntriesWritten returns the entries of one vessel (empty: of all) that were
// written from one time to before another (zero: no bound), in the order in
// which they were written, then arrived.
func (s *Store) EntriesWritten(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error) {
	return s.entries(ctx, `select n, data from entry where (?1 = '' or vessel = ?1) and written >= ?2 and written < ?3
		order by written, n`, vessel, from, to)
}

func (s *Store) entries(ctx context.Context, query, vessel string, from, to time.Time) ([]ingest.Entry, error) {
	start, end := int64(math.MinInt64), int64(math.MaxInt64)
	if !from.IsZero() {
		start = from.UnixMilli()
	}
	if !to.IsZero() {
		end = to.UnixMilli()
	}
	var out []ingest.Entry
	err := each(ctx, s.reader, query, []any{vessel, start, end}, func(rows *sql.Rows) error {
		var n int64
		var data sql.RawBytes
		if err := rows.Scan(&n, &data); err != nil {
			return err
		}
		e, err := decodeEntry(data)
		if err != nil {
			return fmt.Errorf("entry number %d is damaged: %w", n, err)
		}
		out = append(out, e)
		return nil
	})
	return out, s.failed("read entries", err)
}
