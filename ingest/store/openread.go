package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// ReadOnly is a database opened to be read alone.
type ReadOnly struct{ s *Store }

// Between is [Store.Between].
func (r *ReadOnly) Between(ctx context.Context, from, to time.Time) iter.Seq2[ingest.Reading, error] {
	return r.s.Between(ctx, from, to)
}

// EntriesWritten is [Store.EntriesWritten].
func (r *ReadOnly) EntriesWritten(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error) {
	return r.s.EntriesWritten(ctx, vessel, from, to)
}

// Vessels is [Store.Vessels].
func (r *ReadOnly) Vessels(ctx context.Context) ([]Seen, error) { return r.s.Vessels(ctx) }

// Close closes the database.
func (r *ReadOnly) Close() error { return r.s.reader.Close() }

// OpenToRead opens the database at path for reading only, also while a daemon
// writes to it: it takes no lock and changes nothing. The errors are those of
// Open, but for ErrLocked; a database of an older version has first to be
// opened by the daemon, which brings it up to date.
func OpenToRead(ctx context.Context, path string) (*ReadOnly, error) {
	path, err := resolve(path)
	if err != nil {
		return nil, fmt.Errorf("open database %q: %w", path, err)
	}
	there, err := identify(path)
	if err == nil && !there {
		err = errors.New("there is none")
	}
	if err != nil {
		return nil, fmt.Errorf("open database %q: %w", path, err)
	}
	db, err := sql.Open("sqlite", dsn(path, fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds()), "query_only(1)"))
	if err != nil {
		return nil, fmt.Errorf("open database %q: %w", path, err)
	}
	r := &ReadOnly{&Store{path: path, reader: db, turn: make(chan struct{}, 1)}}
	var at int
	err = db.QueryRowContext(ctx, "pragma user_version").Scan(&at)
	if err == nil {
		err = checkVersion(at, version)
	}
	if err == nil && at != version {
		err = fmt.Errorf("it is of version %d: let the daemon open it once", at)
	}
	if err != nil {
		_ = db.Close()
		return nil, fmt.Errorf("open database %q: %w", path, err)
	}
	return r, nil
}
