package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// Filter names some alarms.
type Filter struct {
	Since    time.Time // raised at or after; zero: ever
	OpenOnly bool      // not normal again
	Vessel   string    // empty: of every vessel
	Limit    int       // 0: all
}

// Alarms returns the alarms, the newest first.
func (l *Ledger) Alarms(ctx context.Context, f Filter) ([]alerts.Alarm, error) {
	where, args := []string{"raised >= ?"}, []any{milli(f.Since)}
	if f.OpenOnly {
		where = append(where, "open = 1")
	}
	if f.Vessel != "" {
		where, args = append(where, "vessel = ?"), append(args, f.Vessel)
	}
	rows, err := l.db.Reader().QueryContext(ctx, "select id, data from alarm where "+strings.Join(where, " and ")+
		" order by raised desc, id limit ?", append(args, limit(f.Limit))...)
	if err != nil {
		return nil, fmt.Errorf("read alarms: %w", err)
	}
	return collect[alerts.Alarm](rows, "alarm")
}

// ErrUnknown says that there is no alarm or call of that id.
var ErrUnknown = errors.New("no such id in the ledger")

// Alarm returns one alarm, or an error that is ErrUnknown.
func (l *Ledger) Alarm(ctx context.Context, id string) (alerts.Alarm, error) {
	var a alerts.Alarm
	var data string
	err := l.db.Reader().QueryRowContext(ctx, "select data from alarm where id = ?", id).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return a, fmt.Errorf("alarm %q: %w", id, ErrUnknown)
	}
	if err == nil {
		err = json.Unmarshal([]byte(data), &a)
	}
	if err != nil {
		return a, fmt.Errorf("read alarm %q: %w", id, err)
	}
	return a, nil
}

// limit turns 0 into none, which SQLite writes as a negative limit.
func limit(n int) int {
	if n == 0 {
		return -1
	}
	return n
}

// collect reads rows of id and JSON. A row that cannot be read is named.
func collect[T any](rows *sql.Rows, what string) (out []T, err error) {
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var id, data string
		var one T
		if err := rows.Scan(&id, &data); err != nil {
			return nil, fmt.Errorf("read %ss: %w", what, err)
		}
		if err := json.Unmarshal([]byte(data), &one); err != nil {
			return nil, fmt.Errorf("read %s %q: damaged: %w", what, id, err)
		}
		out = append(out, one)
	}
	return out, rows.Err()
}
