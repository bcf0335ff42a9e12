package store

import (
	"context"
	"database/sql"
	"fmt"

	sqlite3 "modernc.org/sqlite/lib"

	"github.com/nightshelf/nightshelf/ingest"
)

// Update runs change in one write transaction and commits it if change
// returns nil, otherwise undoes it and returns the error. Writes come one
// after another: change must not call methods of the store that write.
func (s *Store) Update(ctx context.Context, change func(*sql.Tx) error) error {
	if s.closed.Load() {
		return ingest.ErrClosed
	}
	tx, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return s.failed("begin", err)
	}
	defer tx.Rollback() //nolint:errcheck // after a commit there is nothing to undo
	if err := change(tx); err != nil {
		if code(err) == sqlite3.SQLITE_BUSY || s.closed.Load() {
			return s.failed("write", err)
		}
		return err
	}
	return s.failed("commit", tx.Commit())
}

// Reader returns the handle for queries. It cannot write, and belongs to the
// store: do not close it.
func (s *Store) Reader() *sql.DB { return s.reader }

// Ping reports whether the database can be written now, by writing to it.
func (s *Store) Ping(ctx context.Context) error {
	err := s.Update(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "update pulse set beats = beats + 1")
		return err
	})
	if err != nil {
		return fmt.Errorf("ping: %w", err)
	}
	return nil
}

// withTurn runs one change that touches what is remembered beside the
// database. After a failure nothing remembered is trusted any more.
func (s *Store) withTurn(ctx context.Context, change func(*sql.Tx) error) error {
	if s.closed.Load() {
		return ingest.ErrClosed
	}
	select {
	case s.turn <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-s.turn }()
	done := false
	defer func() {
		if !done {
			s.known = nil
		}
	}()
	err := s.Update(ctx, func(tx *sql.Tx) error {
		if err := s.remember(ctx, tx); err != nil {
			return err
		}
		return change(tx)
	})
	done = err == nil
	return err
}
