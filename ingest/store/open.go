package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// busyTimeout is how long a write waits for another process that holds the
// database, such as a backup, before it fails.
const busyTimeout = 5 * time.Second

// maxReaders bounds the connections that read at the same time.
const maxReaders = 4

// Store is one open database. All methods may be called by several goroutines.
type Store struct {
	path   string
	lock   *os.File
	writer *sql.DB // one connection: writes are serialised by it
	reader *sql.DB // cannot write
	closed atomic.Bool

	// turn is held by the one goroutine that appends or packs, from before
	// its transaction begins until it is over. It guards known, packedTo and
	// stmts: they must change together with what is on disk.
	turn     chan struct{}
	known    *known
	packedTo int64 // no hour from here on is packed
	stmts    statements
}

// Open opens the database at path and makes it if there is none; the folder
// must exist. It holds a lock on the side file PATH.lock until Close.
//
// The error wraps ingest.ErrLocked if another process, or this one, holds it,
// ingest.ErrNotOurs if the file is something else, which is left untouched,
// and ingest.ErrNewer if a newer version of the program wrote it.
func Open(ctx context.Context, path string) (*Store, error) {
	s, err := open(ctx, path, busyTimeout)
	if err != nil {
		return nil, fmt.Errorf("open database %q: %w", path, err)
	}
	return s, nil
}

func open(ctx context.Context, path string, busy time.Duration) (s *Store, err error) {
	if path, err = resolve(path); err != nil {
		return nil, err
	}
	// Before the lock, so that no lock file appears beside foreign files.
	if _, err := identify(path); err != nil {
		return nil, err
	}
	lock, err := acquire(path + ".lock")
	if err != nil {
		return nil, fmt.Errorf("lock %q: %w", path+".lock", err)
	}
	s = &Store{path: path, lock: lock, turn: make(chan struct{}, 1)}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
		}
	}()
	// Again under the lock: it may have been made in between.
	there, err := identify(path)
	if err == nil && !there {
		err = create(ctx, path)
	}
	if err == nil {
		err = s.connect(ctx, busy)
	}
	return s, err
}

// resolve returns the absolute path with links followed, so that two names of
// one file meet at one lock.
func resolve(path string) (string, error) {
	if path == "" {
		return "", errors.New("no path given")
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		return real, nil
	}
	folder, err := filepath.EvalSymlinks(filepath.Dir(path))
	if err != nil {
		return "", err
	}
	return filepath.Join(folder, filepath.Base(path)), nil
}

func (s *Store) connect(ctx context.Context, busy time.Duration) (err error) {
	wait := fmt.Sprintf("busy_timeout(%d)", busy.Milliseconds())
	s.writer, err = sql.Open("sqlite", dsn(s.path, wait, "journal_mode(WAL)", "synchronous(FULL)",
		"foreign_keys(1)", "journal_size_limit(67108864)")+"&_txlock=immediate")
	if err != nil {
		return err
	}
	s.writer.SetMaxOpenConns(1)
	if err := s.checkJournal(ctx); err != nil {
		return err
	}
	if err := migrate(ctx, s.writer, embedded, version); err != nil {
		return s.failed("check version", err)
	}
	s.reader, err = sql.Open("sqlite", dsn(s.path, wait, "query_only(1)", "foreign_keys(1)"))
	if err != nil {
		return err
	}
	s.reader.SetMaxOpenConns(maxReaders)
	s.reader.SetMaxIdleConns(maxReaders)
	if err := s.prepare(ctx); err != nil {
		return s.failed("prepare", err)
	}
	return s.Ping(ctx)
}

// checkJournal makes sure that readers and the writer do not block each other.
func (s *Store) checkJournal(ctx context.Context) error {
	var mode string
	if err := s.writer.QueryRowContext(ctx, "pragma journal_mode").Scan(&mode); err != nil {
		return s.failed("read journal mode", err)
	}
	if mode != "wal" {
		return fmt.Errorf("its file system allows journal mode %q only, and not wal", mode)
	}
	return nil
}

// dsn names a database file to the driver. Pragmas go here, not through Exec:
// that would reach one connection of the pool only.
func dsn(path string, pragmas ...string) string {
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path)}
	return u.String() + "?" + "_pragma=" + strings.Join(pragmas, "&_pragma=")
}

// Close waits for what is under way and closes the database. A second call
// does nothing.
func (s *Store) Close() error {
	if s.closed.Swap(true) {
		return nil
	}
	s.turn <- struct{}{}
	defer func() { <-s.turn }()
	var errs []error
	if s.reader != nil {
		errs = append(errs, s.reader.Close())
	}
	if s.writer != nil {
		// Last to close: it moves the log into the file and removes it.
		errs = append(errs, s.writer.Close())
	}
	errs = append(errs, s.lock.Close())
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("close database %q: %w", s.path, err)
	}
	return nil
}
