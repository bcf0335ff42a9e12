package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/nightshelf/nightshelf/alerts"
)

// maxDetail is how much of an attempt's detail is kept, in bytes.
const maxDetail = 500

// Attempted writes down one attempt at a call and what became of the call by
// it. Every attempt is kept for the record. A call that was delivered stays
// so; one that was given up becomes delivered if an attempt got through after
// all, and nothing else. An attempt at no phone, such as an expiry, does not
// count as one. Unknown ids are an error that is ErrUnknown.
func (l *Ledger) Attempted(ctx context.Context, id string, a alerts.Attempt) error {
	switch a.Outcome {
	case alerts.Queued, alerts.Delivered, alerts.Failed, alerts.Expired:
	default: // it would be neither due nor done, and so forgotten
		return fmt.Errorf("write down an attempt at call %q: no state of a call is called %q", id, a.Outcome)
	}
	a.Detail = cut(a.Detail, maxDetail)
	a.At, a.Next = at(milli(a.At)), at(milli(a.Next))
	err := l.db.Update(ctx, func(tx *sql.Tx) error {
		c, err := find[alerts.Call](tx.QueryRowContext(ctx, "select data from call where id = ?", id))
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "insert into attempt (call, at, phone, outcome, next, detail) values (?, ?, ?, ?, ?, ?)",
			id, milli(a.At), a.Phone, string(a.Outcome), milli(a.Next), a.Detail); err != nil {
			return err
		}
		return putState(ctx, tx, after(c, a))
	})
	if err != nil {
		return fmt.Errorf("write down an attempt at call %q: %w", id, err)
	}
	return nil
}

// after is the call once a was made.
func after(c alerts.Call, a alerts.Attempt) alerts.Call {
	if a.Phone != "" {
		c.Attempts++
	}
	ended := c.State != alerts.Queued
	if c.State == alerts.Delivered || ended && a.Outcome != alerts.Delivered {
		return c
	}
	c.State, c.Last, c.Next = a.Outcome, a.Detail, a.Next
	if c.State != alerts.Queued {
		c.Done = a.At
	}
	if c.State == alerts.Delivered {
		c.Phone = a.Phone
	}
	return c
}

func putState(ctx context.Context, tx *sql.Tx, c alerts.Call) error {
	data, err := json.Marshal(c)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "update call set state = ?, next = ?, data = ? where id = ?",
		string(c.State), milli(c.Next), string(data), c.ID)
	return err
}

// Attempts returns every attempt at a call, the oldest first; none for an id
// that is unknown.
func (l *Ledger) Attempts(ctx context.Context, id string) (out []alerts.Attempt, err error) {
	rows, err := l.db.Reader().QueryContext(ctx, "select at, phone, outcome, next, detail from attempt where call = ? order by n", id)
	if err != nil {
		return nil, fmt.Errorf("read the attempts at call %q: %w", id, err)
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var a alerts.Attempt
		var when, next int64
		if err := rows.Scan(&when, &a.Phone, &a.Outcome, &next, &a.Detail); err != nil {
			return nil, fmt.Errorf("read the attempts at call %q: %w", id, err)
		}
		a.At, a.Next = at(when), at(next)
		out = append(out, a)
	}
	return out, rows.Err()
}
