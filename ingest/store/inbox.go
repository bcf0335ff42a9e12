package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Inbox returns the batches with a Seq above after that are not digested, in
// order, at most limit of them (0 or less: all). What was refused with a
// batch is not part of it. If one cannot be read back, those before it come
// with an error that is a *Damaged.
func (s *Store) Inbox(ctx context.Context, after int64, limit int) ([]ingest.Batch, error) {
	if limit <= 0 {
		limit = -1 // SQLite: no limit
	}
	var out []ingest.Batch
	err := each(ctx, s.reader, "select seq, arrived, data from inbox where seq > ? order by seq limit ?",
		[]any{after, limit}, func(rows *sql.Rows) error {
			var seq, arrived int64
			var data sql.RawBytes
			if err := rows.Scan(&seq, &arrived, &data); err != nil {
				return err
			}
			b, err := decodeBatch(data, seq, time.UnixMilli(arrived).UTC())
			if err != nil {
				return &Damaged{Seq: seq, Err: err}
			}
			out = append(out, b)
			return nil
		})
	return out, s.failed("read inbox", err)
}

// Digested removes the batches up to and with seq from the inbox; their
// readings and entries stay.
func (s *Store) Digested(ctx context.Context, seq int64) error {
	err := s.Update(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "delete from inbox where seq <= ?", seq)
		return err
	})
	if err != nil {
		return fmt.Errorf("empty inbox: %w", err)
	}
	return nil
}

// Backlog returns how many batches wait in the inbox.
func (s *Store) Backlog(ctx context.Context) (n int64, err error) {
	err = s.reader.QueryRowContext(ctx, "select count(*) from inbox").Scan(&n)
	return n, s.failed("count inbox", err)
}
