package store

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

	"github.com/nightshelf/nightshelf/ingest"
)

var evening = time.Date(2026, 1, 10, 18, 0, 0, 0, time.UTC)

func opened(t *testing.T, path string) *Store {
	t.Helper()
	s, err := open(t.Context(), path, 20*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func nth(i int) ingest.Batch {
	b := ingest.Batch{Arrived: evening}
	for j := range 20 {
		b.Readings = append(b.Readings, ingest.Reading{Vessel: "C07", Quantity: ingest.OD, Value: float64(i),
			At: evening.Add(time.Duration(20*i+j) * time.Second)})
	}
	return b
}

// Another process that writes holds us up; what we could not keep then can be
// kept afterwards, with nothing half done.
func TestLockedByAnother(t *testing.T) {
	path := filepath.Join(t.TempDir(), "room.db")
	s := opened(t, path)
	other, err := sql.Open("sqlite", dsn(path, "busy_timeout(20)")+"&_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	for i := range 3 {
		tx, err := other.Begin()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Append(t.Context(), nth(i)); !errors.Is(err, ingest.ErrLocked) || !strings.Contains(err.Error(), path) {
			t.Errorf("append gives %v, want %v and the path", err, ingest.ErrLocked)
		}
		if err := s.Ping(t.Context()); !errors.Is(err, ingest.ErrLocked) {
			t.Errorf("ping gives %v, want %v", err, ingest.ErrLocked)
		}
		if _, err := s.Totals(t.Context()); err != nil {
			t.Errorf("a reader was held up: %v", err)
		}
		if err := tx.Rollback(); err != nil {
			t.Fatal(err)
		}
		kept, err := s.Append(t.Context(), nth(i))
		if want := (ingest.Kept{Seq: int64(i + 1), Stored: 20}); err != nil || kept != want {
			t.Errorf("afterwards: %+v, %v, want %+v", kept, err, want)
		}
	}
}

// A reader of another process, such as a backup, holds up nobody.
func TestReadByAnother(t *testing.T) {
	path := filepath.Join(t.TempDir(), "room.db")
	s := opened(t, path)
	other, err := sql.Open("sqlite", dsn(path, "busy_timeout(20)"))
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	tx, err := other.Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback() //nolint:errcheck // nothing was written
	count := func() (n int) {
		if err := tx.QueryRow("select count(*) from tail").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := count()
	if _, err := s.Append(t.Context(), nth(1)); err != nil {
		t.Error(err)
	}
	if after := count(); after != before {
		t.Errorf("the backup saw %d rows first and %d then", before, after)
	}
}

func TestDiskFull(t *testing.T) {
	s := opened(t, filepath.Join(t.TempDir(), "room.db"))
	limit := func(pages string) {
		t.Helper()
		if _, err := s.writer.Exec("pragma max_page_count = " + pages); err != nil {
			t.Fatal(err)
		}
	}
	limit("1") // SQLite takes the present size instead
	kept := 0
	var err error
	for err == nil {
		if _, err = s.Append(t.Context(), nth(kept)); err == nil {
			kept++
		}
	}
	if code(err) != sqlite3.SQLITE_FULL {
		t.Fatalf("got %v, want a full disk", err)
	}
	limit("1000000")
	total, err := s.Totals(t.Context())
	if err != nil || total.Readings != int64(20*kept) {
		t.Errorf("%+v, %v after %d whole batches", total, err, kept)
	}
	for i := kept; i < kept+5; i++ {
		got, err := s.Append(t.Context(), nth(i))
		if want := (ingest.Kept{Seq: int64(i + 1), Stored: 20}); err != nil || got != want {
			t.Errorf("afterwards: %+v, %v, want %+v", got, err, want)
		}
	}
}

// What fails half way is undone also in what is remembered beside the disk.
func TestFailureForgets(t *testing.T) {
	s := opened(t, filepath.Join(t.TempDir(), "room.db"))
	b := nth(0)
	b.Entries = []ingest.Entry{{Vessel: "C07", Kind: ingest.Look, At: evening, Written: evening}}
	if _, err := s.writer.Exec("alter table entry rename to away"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Append(t.Context(), b); err == nil {
		t.Fatal("no error without a table")
	}
	if _, err := s.writer.Exec("alter table away rename to entry"); err != nil {
		t.Fatal(err)
	}
	kept, err := s.Append(t.Context(), b)
	if want := (ingest.Kept{Seq: 1, Stored: 20, Entries: 1}); err != nil || kept != want {
		t.Errorf("got %+v, %v, want %+v", kept, err, want)
	}
}

func TestUpdate(t *testing.T) {
	s := opened(t, filepath.Join(t.TempDir(), "room.db"))
	broken := errors.New("broken")
	if err := s.Update(t.Context(), func(tx *sql.Tx) error {
		if _, err := tx.Exec("delete from pulse"); err != nil {
			return err
		}
		return broken
	}); !errors.Is(err, broken) {
		t.Errorf("got %v, want %v", err, broken)
	}
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		_ = s.Update(t.Context(), func(*sql.Tx) error { panic("oh") })
	}()
	var n int
	if err := s.reader.QueryRow("select count(*) from pulse").Scan(&n); err != nil || n != 1 {
		t.Errorf("%d rows, %v: not undone", n, err)
	}
	if err := s.Ping(t.Context()); err != nil {
		t.Errorf("after a panic: %v", err)
	}
}

func TestDamagedBatch(t *testing.T) {
	s := opened(t, filepath.Join(t.TempDir(), "room.db"))
	for i := range 3 {
		if _, err := s.Append(t.Context(), nth(i)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.writer.Exec("update inbox set data = substr(data, 1, 30) where seq = 2"); err != nil {
		t.Fatal(err)
	}
	got, err := s.Inbox(t.Context(), 0, 0)
	var damaged *Damaged
	if !errors.As(err, &damaged) || damaged.Seq != 2 || len(got) != 1 || !errors.Is(err, errShort) {
		t.Fatalf("%d batches and %v, want one and that the second is damaged", len(got), err)
	}
	if got, err := s.Inbox(t.Context(), damaged.Seq, 0); err != nil || len(got) != 1 || got[0].Seq != 3 {
		t.Errorf("after it: %v, %v", got, err)
	}
}

func TestDamagedPack(t *testing.T) {
	s := opened(t, filepath.Join(t.TempDir(), "room.db"))
	if _, err := s.Append(t.Context(), nth(0)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Pack(t.Context(), evening.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.writer.Exec("update pack set data = x'01'"); err != nil {
		t.Fatal(err)
	}
	var last error
	for _, err := range s.Readings(t.Context(), Range{Vessel: "C07"}) {
		last = err
	}
	if last == nil || !strings.Contains(last.Error(), "2026-01-10T18:00:00Z") {
		t.Errorf("%v does not name the hour", last)
	}
}

func TestMigrate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "room.db")
	s := opened(t, path)
	steps := fstest.MapFS{
		"sql/migrations/0002.sql": {Data: []byte("alter table vessel add column shelf text; update vessel set shelf = 'top';")},
		"sql/migrations/0003.sql": {Data: []byte("create index vessel_shelf on vessel (shelf);")},
		"sql/migrations/0004.sql": {Data: []byte("create table wrong (v integer references vessel (id)); insert into wrong values (7);")},
		"sql/migrations/0005.sql": {Data: []byte("no sql at all")},
	}
	at := func() (v int) {
		if err := s.writer.QueryRow("pragma user_version").Scan(&v); err != nil {
			t.Fatal(err)
		}
		return v
	}
	for range 2 { // a second time does nothing
		if err := migrate(t.Context(), s.writer, steps, 3); err != nil || at() != 3 {
			t.Fatalf("%v, version %d", err, at())
		}
	}
	if err := migrate(t.Context(), s.writer, steps, 4); err == nil || at() != 3 {
		t.Errorf("a row that points nowhere: %v, version %d", err, at())
	}
	delete(steps, "sql/migrations/0004.sql")
	if err := migrate(t.Context(), s.writer, steps, 4); !errors.Is(err, os.ErrNotExist) || at() != 3 {
		t.Errorf("a missing step: %v, version %d", err, at())
	}
	if err := migrate(t.Context(), s.writer, steps, 2); !errors.Is(err, ingest.ErrNewer) {
		t.Errorf("an older program: %v", err)
	}
}

// Waiting for the turn ends with the context.
func TestTurnHonoursContext(t *testing.T) {
	s := opened(t, filepath.Join(t.TempDir(), "room.db"))
	s.turn <- struct{}{}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Append(ctx, nth(0)); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	<-s.turn
}
