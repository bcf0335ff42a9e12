package store_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

func write(t *testing.T, path, content string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
}

// run executes SQL on a file as another program would.
func run(t *testing.T, path, script string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.Exec(script)
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
}

func TestOpenRefusesWhatIsNotOurs(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(t *testing.T, path string)
		want error
		says string
	}{
		{"text", func(t *testing.T, p string) { write(t, p, strings.Repeat("C07 looks pale\n", 100)) }, ingest.ErrNotOurs, "no SQLite file"},
		{"short", func(t *testing.T, p string) { write(t, p, "SQLite format 3\x00") }, ingest.ErrNotOurs, "no SQLite file"},
		{"another program", func(t *testing.T, p string) { run(t, p, "pragma application_id = 7; create table t (x)") }, ingest.ErrNotOurs, "0x00000007"},
		{"unmarked", func(t *testing.T, p string) { run(t, p, "create table reading (x)") }, ingest.ErrNotOurs, "0x00000000"},
		{"another program in wal", func(t *testing.T, p string) { run(t, p, "pragma journal_mode = wal; create table t (x)") }, ingest.ErrNotOurs, "application id"},
		{"newer", func(t *testing.T, p string) { newer(t, p) }, ingest.ErrNewer, "version 99"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "room.db")
			c.make(t, path)
			before, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			files := list(t, path)
			s, err := store.Open(t.Context(), path)
			if s != nil || !errors.Is(err, c.want) {
				t.Fatalf("got %v, %v, want %v", s, err, c.want)
			}
			if !strings.Contains(err.Error(), fmt.Sprintf("%q", path)) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q does not name the file, or not say %q", err, c.says)
			}
			if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
				t.Errorf("the file was changed, %v", err)
			}
			if now := list(t, path); now != files {
				t.Errorf("files beside it: %s, before %s", now, files)
			}
		})
	}
}

func list(t *testing.T, path string) string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, p := range all {
		if !strings.HasSuffix(p, ".lock") {
			out = append(out, filepath.Base(p))
		}
	}
	return strings.Join(out, " ")
}

// newer makes a database of ours and says that a later version wrote it.
func newer(t *testing.T, path string) {
	t.Helper()
	closeNow(t, open(t, path))
	run(t, path, "pragma user_version = 99")
}

func open(t *testing.T, path string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { closeNow(t, s) })
	return s
}

func closeNow(t *testing.T, s *store.Store) {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

func TestOpenClearErrors(t *testing.T) {
	dir := t.TempDir()
	for _, path := range []string{"", dir, filepath.Join(dir, "missing", "room.db"), filepath.Join(dir, "file", "room.db")} {
		write(t, filepath.Join(dir, "file"), "")
		s, err := store.Open(t.Context(), path)
		if err == nil {
			closeNow(t, s)
			t.Errorf("%q: no error", path)
		} else if !strings.Contains(err.Error(), fmt.Sprintf("%q", path)) {
			t.Errorf("%q does not name %q", err, path)
		}
	}
	if os.Getuid() == 0 {
		return // root may write anywhere
	}
	closed := filepath.Join(dir, "closed")
	if err := os.Mkdir(closed, 0o500); err != nil {
		t.Fatal(err)
	}
	if s, err := store.Open(t.Context(), filepath.Join(closed, "room.db")); !errors.Is(err, os.ErrPermission) {
		t.Errorf("folder without write permission: %v, %v", s, err)
	}
}

func TestOpenSecondTime(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "room.db")
	s := open(t, path)
	link := filepath.Join(dir, "link.db")
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{path, link, filepath.Join(dir, ".", "x", "..", "room.db")} {
		second, err := store.Open(t.Context(), name)
		if second != nil || !errors.Is(err, ingest.ErrLocked) || !strings.Contains(err.Error(), path) {
			t.Errorf("%q: %v, %v, want %v with the path", name, second, err, ingest.ErrLocked)
		}
	}
	closeNow(t, s)
	open(t, link)
}

func TestOpenAnyPath(t *testing.T) {
	for _, name := range []string{"with space.db", "100% wet?.db", "a#b&c=d.db", "träge;--.db", "_pragma=x.db"} {
		path := filepath.Join(t.TempDir(), name)
		s := open(t, path)
		if _, err := s.Append(t.Context(), one(1)); err != nil {
			t.Error(err)
		}
		closeNow(t, s)
		if info, err := os.Stat(path); err != nil || info.Size() == 0 {
			t.Errorf("%q was not made: %v", name, err)
		}
		if got := list(t, path); got != name {
			t.Errorf("after closing there are %q, want %q only", got, name)
		}
	}
}

// A touched file and the remains of a start that was cut short are taken over.
func TestOpenEmptyFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "room.db")
	write(t, path, "")
	write(t, path+".new", "half a database")
	s := open(t, path)
	if err := s.Ping(t.Context()); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(path + ".new"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the remains are still there: %v", err)
	}
}

func one(i int) ingest.Batch {
	when := time.Date(2026, 1, 10, 18, 0, 0, 0, time.UTC).Add(time.Duration(i) * time.Second)
	return ingest.Batch{Arrived: when, Readings: []ingest.Reading{{Vessel: "C07", Quantity: ingest.OD, Value: float64(i), At: when}}}
}

func TestSettings(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "room.db"))
	err := s.Update(t.Context(), func(tx *sql.Tx) error {
		// From https://www.sqlite.org/pragma.html: synchronous 2 is FULL.
		for name, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1",
			"application_id": "1314080838", "user_version": "1", "busy_timeout": "5000", "integrity_check": "ok"} {
			var got string
			if err := tx.QueryRow("pragma " + name).Scan(&got); err != nil || got != want {
				t.Errorf("%s is %q, want %q (%v)", name, got, want, err)
			}
		}
		_, err := tx.Exec("insert into newest (v, q, ts, value) values (99, 1, 1, 1)")
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "FOREIGN KEY") {
		t.Errorf("a reading of no vessel gives %v", err)
	}
	if _, err := s.Reader().ExecContext(context.Background(), "delete from vessel"); err == nil {
		t.Error("the reader can write")
	}
}

// Somebody may look while the daemon writes; nothing is made where nothing is.
func TestOpenToRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "room.db")
	if r, err := store.OpenToRead(t.Context(), path); err == nil || !strings.Contains(err.Error(), path) {
		t.Errorf("a missing file: %v, %v", r, err)
	}
	if got := list(t, path); got != "" {
		t.Errorf("looking has made %q", got)
	}
	s := open(t, path)
	r, err := store.OpenToRead(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Append(t.Context(), one(1)); err != nil {
		t.Errorf("append beside a reader: %v", err)
	}
	var got []ingest.Reading
	for one, err := range r.Between(t.Context(), time.Time{}, time.Time{}) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, one)
	}
	if len(got) != 1 || got[0] != one(1).Readings[0] {
		t.Errorf("read %v", got)
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
	closeNow(t, s)
	newer(t, path)
	if r, err := store.OpenToRead(t.Context(), path); !errors.Is(err, ingest.ErrNewer) {
		t.Errorf("a newer file: %v, %v", r, err)
	}
}
