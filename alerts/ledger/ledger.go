// Package ledger keeps alarms, calls and the watch's place in the inbox on
// disk, in the database of the store. What is decided together is written in
// one transaction: alarms changed, calls queued, cursor moved, memory saved.
// So a kill at any instant neither loses nor repeats a decision.
package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// Database is where the ledger is kept.
type Database interface {
	// Update runs change in one write transaction; its writes are on disk when
	// it returns nil and undone otherwise.
	Update(ctx context.Context, change func(*sql.Tx) error) error
	// Reader returns the handle for queries.
	Reader() *sql.DB
}

// Ledger keeps alarms and calls. It is safe for concurrent use.
type Ledger struct {
	db Database
}

// ErrBackwards says that a decision would move the cursor back.
var ErrBackwards = errors.New("the cursor cannot go back")

// Open makes the ledger's tables where they are missing. The error is
// ErrNewer, and so ingest.ErrNewer, if a newer version of the program made them.
func Open(ctx context.Context, db Database) (*Ledger, error) {
	err := db.Update(ctx, func(tx *sql.Tx) error { return build(ctx, tx, embedded, version) })
	if err != nil {
		return nil, fmt.Errorf("open the ledger: %w", err)
	}
	return &Ledger{db: db}, nil
}

// Decision is what is written down together.
type Decision struct {
	Cursor   int64 // newest batch of the inbox that it rests on
	RoomTime time.Time
	Version  int    // of Snapshot
	Snapshot []byte // the room's memory
	Alarms   []alerts.Alarm
	Calls    []alerts.Call
}

// Commit writes a decision down, whole or not at all. Alarms replace their
// former form by id. A call that is there already is left as it is: how far its
// delivery has come is the outbox's to say. Times are kept in whole
// milliseconds, UTC. A cursor before the one on disk is ErrBackwards.
func (l *Ledger) Commit(ctx context.Context, d Decision) error {
	err := l.db.Update(ctx, func(tx *sql.Tx) error {
		if err := moveCursor(ctx, tx, d); err != nil {
			return err
		}
		for _, a := range d.Alarms {
			if err := putAlarm(ctx, tx, a); err != nil {
				return err
			}
		}
		for _, c := range d.Calls {
			if err := putCall(ctx, tx, c); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("write a decision down: %w", err)
	}
	return nil
}

func moveCursor(ctx context.Context, tx *sql.Tx, d Decision) error {
	snapshot := d.Snapshot
	if snapshot == nil {
		snapshot = []byte{}
	}
	r, err := tx.ExecContext(ctx, `insert into place (id, cursor, room_time, version, snapshot) values (1, ?, ?, ?, ?)
		on conflict (id) do update set cursor = excluded.cursor, room_time = excluded.room_time,
		version = excluded.version, snapshot = excluded.snapshot where excluded.cursor >= cursor`,
		d.Cursor, milli(d.RoomTime), d.Version, snapshot)
	if err != nil {
		return err
	}
	if n, err := r.RowsAffected(); err != nil || n == 0 {
		return errors.Join(err, fmt.Errorf("%w: to batch %d", ErrBackwards, d.Cursor))
	}
	return nil
}

func putAlarm(ctx context.Context, tx *sql.Tx, a alerts.Alarm) error {
	if a.ID == "" {
		return fmt.Errorf("an alarm of vessel %q has no id", a.Vessel)
	}
	a = tidyAlarm(a)
	data, err := json.Marshal(a)
	if err != nil {
		return fmt.Errorf("alarm %s of vessel %q: %w", a.ID, a.Vessel, err)
	}
	open := 1
	if a.State == alerts.Normal {
		open = 0
	}
	_, err = tx.ExecContext(ctx, `insert into alarm (id, vessel, raised, open, data) values (?, ?, ?, ?, ?)
		on conflict (id) do update set vessel = excluded.vessel, raised = excluded.raised, open = excluded.open, data = excluded.data`,
		a.ID, a.Vessel, milli(a.Raised), open, string(data))
	return err
}

var urgency = map[alerts.Priority]int{alerts.High: 0, alerts.Medium: 1, alerts.Low: 2}

func putCall(ctx context.Context, tx *sql.Tx, c alerts.Call) error {
	if c.ID == "" {
		return fmt.Errorf("a call of vessel %q has no id", c.Vessel)
	}
	c = tidyCall(c)
	data, err := json.Marshal(c)
	if err != nil {
		return fmt.Errorf("call %s: %w", c.ID, err)
	}
	u, ok := urgency[c.Prio]
	if !ok {
		u = urgency[alerts.Low]
	}
	_, err = tx.ExecContext(ctx, `insert into call (id, queued, urgency, state, next, data) values (?, ?, ?, ?, ?, ?)
		on conflict (id) do nothing`,
		c.ID, milli(c.Queued), u, string(c.State), milli(c.Next), string(data))
	return err
}

// Resume is where the watch stood.
type Resume struct {
	Cursor   int64
	RoomTime time.Time
	Version  int
	Snapshot []byte
	Found    bool // false: nothing was ever written down
}

// Resume returns where the watch stood at its newest decision.
func (l *Ledger) Resume(ctx context.Context) (Resume, error) {
	var r Resume
	var ms int64
	err := l.db.Reader().QueryRowContext(ctx, "select cursor, room_time, version, snapshot from place").
		Scan(&r.Cursor, &ms, &r.Version, &r.Snapshot)
	if errors.Is(err, sql.ErrNoRows) {
		return Resume{}, nil
	}
	if err != nil {
		return Resume{}, fmt.Errorf("read where the watch stands: %w", err)
	}
	r.RoomTime, r.Found = at(ms), true
	return r, nil
}
