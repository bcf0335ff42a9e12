package ledger

import (
	"context"
	"database/sql"
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

// Alarms returns the alarms, the newest first. Those that can be read come
// also beside an error that names the damaged ones.
func (l *Ledger) Alarms(ctx context.Context, f Filter) ([]alerts.Alarm, error) {
	where, args := []string{"raised >= ?"}, []any{milli(f.Since)}
	if f.OpenOnly {
		where = append(where, "open = 1")
	}
	if f.Vessel != "" {
		where, args = append(where, "vessel = ?"), append(args, f.Vessel)
	}
	rows, err := l.db.Reader().QueryContext(ctx, "select id, data from alarm where "+strings.Join(where, " and ")+
		" order by raised desc, id", args...)
	if err != nil {
		return nil, fmt.Errorf("read alarms: %w", err)
	}
	return collect[alerts.Alarm](rows, "alarm", f.Limit)
}

// ErrUnknown says that there is no alarm or call of that id.
var ErrUnknown = errors.New("no such id in the ledger")

// Alarm returns one alarm, or an error that is ErrUnknown.
func (l *Ledger) Alarm(ctx context.Context, id string) (alerts.Alarm, error) {
	a, err := find[alerts.Alarm](l.db.Reader().QueryRowContext(ctx, "select data from alarm where id = ?", id))
	if err != nil {
		return a, fmt.Errorf("read alarm %q: %w", id, err)
	}
	return a, nil
}

// find reads the JSON of one row.
func find[T any](row *sql.Row) (one T, err error) {
	var data string
	err = row.Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return one, ErrUnknown
	}
	if err != nil {
		return one, err
	}
	return decode[T](data)
}
