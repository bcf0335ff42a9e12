package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// Calls returns the calls, the newest first, at most most (0: all). Those that
// can be read come also beside an error that names the damaged ones.
func (l *Ledger) Calls(ctx context.Context, most int) ([]alerts.Call, error) {
	rows, err := l.db.Reader().QueryContext(ctx, "select id, data from call order by queued desc, id")
	if err != nil {
		return nil, fmt.Errorf("read calls: %w", err)
	}
	return collect[alerts.Call](rows, "call", most)
}

// Call returns one call, or an error that is ErrUnknown.
func (l *Ledger) Call(ctx context.Context, id string) (alerts.Call, error) {
	c, err := find[alerts.Call](l.db.Reader().QueryRowContext(ctx, "select data from call where id = ?", id))
	if err != nil {
		return c, fmt.Errorf("read call %q: %w", id, err)
	}
	return c, nil
}

// Due returns the queued calls whose next attempt is due at now, the most
// urgent first, then the oldest, at most most (0: all). A damaged one must not
// keep the others from a phone: it is an error, which names it, only where no
// other is due.
func (l *Ledger) Due(ctx context.Context, now time.Time, most int) ([]alerts.Call, error) {
	rows, err := l.db.Reader().QueryContext(ctx,
		"select id, data from call where state = 'queued' and next <= ? order by urgency, queued, id", milli(now))
	if err != nil {
		return nil, fmt.Errorf("read the calls that are due: %w", err)
	}
	calls, err := collect[alerts.Call](rows, "call", most)
	if len(calls) > 0 {
		return calls, nil
	}
	return nil, err
}

// NextDue returns when the next attempt at a queued call is due; false where
// none is queued.
func (l *Ledger) NextDue(ctx context.Context) (time.Time, bool, error) {
	var ms sql.NullInt64
	if err := l.db.Reader().QueryRowContext(ctx, "select min(next) from call where state = 'queued'").Scan(&ms); err != nil {
		return time.Time{}, false, fmt.Errorf("read when a call is due: %w", err)
	}
	return at(ms.Int64), ms.Valid, nil
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
