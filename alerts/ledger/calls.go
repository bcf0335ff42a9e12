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

// Calls returns the calls, the newest first; limit 0 is all.
func (l *Ledger) Calls(ctx context.Context, most int) ([]alerts.Call, error) {
	rows, err := l.db.Reader().QueryContext(ctx, "select id, data from call order by queued desc, id limit ?", limit(most))
	if err != nil {
		return nil, fmt.Errorf("read calls: %w", err)
	}
	return collect[alerts.Call](rows, "call")
}

// Due returns the queued calls whose next attempt is due at now, the most
// urgent first, then the oldest.
func (l *Ledger) Due(ctx context.Context, now time.Time, most int) ([]alerts.Call, error) {
	rows, err := l.db.Reader().QueryContext(ctx,
		"select id, data from call where state = 'queued' and next <= ? order by urgency, queued, id limit ?", milli(now), limit(most))
	if err != nil {
		return nil, fmt.Errorf("read the calls that are due: %w", err)
	}
	return collect[alerts.Call](rows, "call")
}

// NextDue returns when the next attempt at a queued call is due; false where
// none is queued.
func (l *Ledger) NextDue(ctx context.Context) (time.Time, bool, error) {
	var ms sql.NullInt64
	if err := l.db.Reader().QueryRowContext(ctx, "select min(next) from call where state = 'queued'").Scan(&ms); err != nil {
		return time.Time{}, false, fmt.Errorf("read when a call is due: %w", err)
	}
	return time.UnixMilli(ms.Int64).UTC(), ms.Valid, nil
}

// CallStates counts the calls by state.
func (l *Ledger) CallStates(ctx context.Context) (map[alerts.CallState]int, error) {
	rows, err := l.db.Reader().QueryContext(ctx, "select state, count(*) from call group by state")
	if err != nil {
		return nil, fmt.Errorf("count calls: %w", err)
	}
	out := map[alerts.CallState]int{alerts.Queued: 0, alerts.Delivered: 0, alerts.Failed: 0, alerts.Expired: 0}
	for rows.Next() {
		var state string
		var n int
		if err := rows.Scan(&state, &n); err != nil {
			return nil, errors.Join(fmt.Errorf("count calls: %w", err), rows.Close())
		}
		out[alerts.CallState(state)] = n
	}
	return out, errors.Join(rows.Err(), rows.Close())
}

// maxDetail is how much of an attempt's detail is kept, in bytes.
const maxDetail = 500

// Attempted writes down one attempt at a call and what became of the call by
// it. A call that has already ended stays as it is; the attempt is kept for
// the record all the same. Unknown ids are an error that is ErrUnknown.
func (l *Ledger) Attempted(ctx context.Context, id string, a alerts.Attempt) error {
	err := l.db.Update(ctx, func(tx *sql.Tx) error {
		c, err := callIn(ctx, tx, id)
		if err != nil {
			return err
		}
		detail := a.Detail[:min(len(a.Detail), maxDetail)]
		if _, err := tx.ExecContext(ctx, "insert into attempt (call, at, phone, outcome, detail) values (?, ?, ?, ?, ?)",
			id, milli(a.At), a.Phone, string(a.Outcome), detail); err != nil {
			return err
		}
		if c.State != alerts.Queued {
			return nil
		}
		c.Attempts++
		c.State, c.Last, c.Next = a.Outcome, detail, a.Next
		if c.State != alerts.Queued {
			c.Done = a.At
		}
		if c.State == alerts.Delivered {
			c.Phone = a.Phone
		}
		data, err := json.Marshal(c)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, "update call set state = ?, next = ?, data = ? where id = ?", string(c.State), milli(c.Next), string(data), id)
		return err
	})
	if err != nil {
		return fmt.Errorf("write down an attempt at call %q: %w", id, err)
	}
	return nil
}

func callIn(ctx context.Context, tx *sql.Tx, id string) (alerts.Call, error) {
	var c alerts.Call
	var data string
	err := tx.QueryRowContext(ctx, "select data from call where id = ?", id).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return c, ErrUnknown
	}
	if err == nil {
		err = json.Unmarshal([]byte(data), &c)
	}
	return c, err
}
