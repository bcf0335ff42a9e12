package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// machine is a room of one counter: batch n raises alarm n/3 and queues a
// call for every third. It crashes as a killed process does, by going on from
// a copy of the files as they were at that instant.
type machine struct {
	dir    string
	life   int
	store  *store.Store
	ledger *Ledger

	// The model: what must be on disk.
	appended int64 // batches acknowledged
	cursor   int64
	alarms   map[string]alerts.Alarm
	calls    map[string]alerts.Call
	attempts map[string]int
}

func (m *machine) path() string { return filepath.Join(m.dir, fmt.Sprint("room", m.life, ".db")) }

func (m *machine) open(t *rapid.T) {
	var err error
	if m.store, err = store.Open(t.Context(), m.path()); err != nil {
		t.Fatal(err)
	}
	if m.ledger, err = Open(t.Context(), m.store); err != nil {
		t.Fatal(err)
	}
}

// copyFiles copies the database and its log as they are now, to be the files of
// the next life.
func (m *machine) copyFiles(t *rapid.T) {
	next := machine{dir: m.dir, life: m.life + 1}
	for _, ending := range []string{"", "-wal"} {
		data, err := os.ReadFile(m.path() + ending)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err == nil {
			err = os.WriteFile(next.path()+ending, data, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

func (m *machine) nextLife(t *rapid.T) {
	if err := m.store.Close(); err != nil {
		t.Fatal(err)
	}
	m.life++
	m.open(t)
}

func (m *machine) crash(t *rapid.T) {
	m.copyFiles(t)
	m.nextLife(t)
}

func (m *machine) append(t *rapid.T) {
	when := night.Add(time.Duration(m.appended) * time.Minute)
	kept, err := m.store.Append(t.Context(), ingest.Batch{Arrived: when,
		Readings: []ingest.Reading{{Vessel: "C07", Quantity: ingest.OD, Value: 1, At: when}}})
	if err != nil {
		t.Fatal(err)
	}
	m.appended++
	if kept.Seq != m.appended {
		t.Fatalf("batch %d got number %d", m.appended, kept.Seq)
	}
}

// decide takes in what waits in the inbox, as a room does.
func (m *machine) decide(t *rapid.T, most int) (d Decision) {
	batches, err := m.store.Inbox(t.Context(), m.cursor, most)
	if err != nil {
		t.Fatal(err)
	}
	d = Decision{Cursor: m.cursor, RoomTime: night, Version: 1}
	for _, b := range batches {
		if b.Seq != d.Cursor+1 {
			t.Fatalf("batch %d comes after %d: lost or repeated", b.Seq, d.Cursor)
		}
		d.Cursor = b.Seq
		a := alarm(fmt.Sprint("alarm-", b.Seq/3), "C07", time.Duration(b.Seq/3)*time.Minute, alerts.Unacknowledged)
		a.Finding.Sure = float64(b.Seq)
		d.Alarms = append(d.Alarms, a)
		if b.Seq%3 == 0 {
			d.Calls = append(d.Calls, call(fmt.Sprint("call-", b.Seq), 0, alerts.High))
		}
	}
	d.Snapshot = fmt.Append(nil, d.Cursor)
	return d
}

// cutShort does the work of a commit or an attempt and is killed before it is
// on disk.
func (m *machine) cutShort(t *rapid.T, work func(*Ledger) error) {
	killed := errors.New("killed")
	err := m.store.Update(t.Context(), func(tx *sql.Tx) error {
		if err := work(&Ledger{db: inside{tx}}); err != nil {
			t.Fatal(err)
		}
		m.copyFiles(t)
		return killed
	})
	if !errors.Is(err, killed) {
		t.Fatal(err)
	}
	m.nextLife(t)
}

// inside lets a ledger write within a transaction that is not its own.
type inside struct{ tx *sql.Tx }

func (i inside) Update(_ context.Context, change func(*sql.Tx) error) error { return change(i.tx) }
func (i inside) Reader() *sql.DB                                            { return nil }

func (m *machine) commit(t *rapid.T, d Decision) {
	if err := m.ledger.Commit(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	m.cursor = d.Cursor
	for _, a := range d.Alarms {
		m.alarms[a.ID] = a
	}
	for _, c := range d.Calls {
		if _, there := m.calls[c.ID]; !there {
			m.calls[c.ID] = c
		}
	}
}

func (m *machine) attempt(t *rapid.T) {
	due, err := m.ledger.Due(t.Context(), night.Add(24*time.Hour), 1)
	if err != nil || len(due) == 0 {
		if err != nil {
			t.Fatal(err)
		}
		return
	}
	c := due[0]
	a := alerts.Attempt{At: night, Phone: "first", Detail: "x",
		Outcome: rapid.SampledFrom([]alerts.CallState{alerts.Queued, alerts.Delivered, alerts.Failed}).Draw(t, "outcome")}
	if rapid.Bool().Draw(t, "cut short") {
		m.cutShort(t, func(l *Ledger) error { return l.Attempted(t.Context(), c.ID, a) })
		return
	}
	if err := m.ledger.Attempted(t.Context(), c.ID, a); err != nil {
		t.Fatal(err)
	}
	m.calls[c.ID] = after(m.calls[c.ID], a)
	m.attempts[c.ID]++
}

func (m *machine) check(t *rapid.T) {
	r, err := m.ledger.Resume(t.Context())
	if err != nil || r.Cursor != m.cursor || r.Found && string(r.Snapshot) != fmt.Sprint(m.cursor) {
		t.Fatalf("resumes at %+v, %v, want %d", r, err, m.cursor)
	}
	alarms, err := m.ledger.Alarms(t.Context(), Filter{})
	if err != nil || len(alarms) != len(m.alarms) {
		t.Fatalf("%d alarms, %v, want %d", len(alarms), err, len(m.alarms))
	}
	for _, a := range alarms {
		if !reflect.DeepEqual(a, m.alarms[a.ID]) {
			t.Fatalf("alarm\n got %+v\nwant %+v", a, m.alarms[a.ID])
		}
	}
	calls, err := m.ledger.Calls(t.Context(), 0)
	if err != nil || len(calls) != len(m.calls) {
		t.Fatalf("%d calls, %v, want %d", len(calls), err, len(m.calls))
	}
	for _, c := range calls {
		attempts, err := m.ledger.Attempts(t.Context(), c.ID)
		if err != nil || len(attempts) != m.attempts[c.ID] || !reflect.DeepEqual(c, m.calls[c.ID]) {
			t.Fatalf("%d attempts, %v\n got %+v\nwant %+v", len(attempts), err, c, m.calls[c.ID])
		}
	}
}

// Whatever happens in whatever order, every batch is decided on exactly once,
// every call is there once, and no attempt is forgotten or made up.
func TestExactlyOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "ledger")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		m := &machine{dir: dir, alarms: map[string]alerts.Alarm{}, calls: map[string]alerts.Call{}, attempts: map[string]int{}}
		m.open(t)
		defer func() { _ = m.store.Close() }()
		most := func(t *rapid.T) int { return rapid.IntRange(1, 5).Draw(t, "most") }
		t.Repeat(map[string]func(*rapid.T){
			"append":       m.append,
			"append again": m.append,
			"append more":  m.append,
			"commit":       func(t *rapid.T) { m.commit(t, m.decide(t, most(t))) },
			"crash":        m.crash,
			"commit cut short": func(t *rapid.T) {
				d := m.decide(t, most(t))
				m.cutShort(t, func(l *Ledger) error { return l.Commit(t.Context(), d) })
			},
			"decide twice": func(t *rapid.T) { // the answer of the first was lost
				d := m.decide(t, most(t))
				m.commit(t, d)
				m.commit(t, d)
			},
			"digested": func(t *rapid.T) {
				if err := m.store.Digested(t.Context(), m.cursor); err != nil {
					t.Fatal(err)
				}
			},
			"attempt": m.attempt,
			"look":    m.check,
		})
		m.commit(t, m.decide(t, 0))
		if m.cursor != m.appended {
			t.Fatalf("decided on %d of %d batches", m.cursor, m.appended)
		}
		m.check(t)
	})
}
