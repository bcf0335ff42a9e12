package store

import (
	"errors"
	"fmt"
	"strconv"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"github.com/nightshelf/nightshelf/ingest"
)

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

// code returns the primary result code of SQLite in err, 0 if there is none.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

// failed names the step that met err, and says in our words what can be said
// in them. It returns nil for nil.
func (s *Store) failed(step string, err error) error {
	switch {
	case err == nil:
		return nil
	case s.closed.Load():
		return fmt.Errorf("%s: %w", step, ingest.ErrClosed)
	case code(err) == sqlite3.SQLITE_BUSY:
		return fmt.Errorf("%s: %q: %w: %w", step, s.path, ingest.ErrLocked, err)
	}
	return fmt.Errorf("%s: %w", step, err)
}
