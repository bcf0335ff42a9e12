package ledger

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/ingest"
)

// collect reads rows of id and JSON, at most most of them (0: all). A row that
// cannot be read is named in the error and does not hold back the others.
func collect[T any](rows *sql.Rows, what string, most int) (out []T, err error) {
	defer func() { err = errors.Join(err, rows.Close()) }()
	var damaged []error
	for rows.Next() && (most <= 0 || len(out) < most) {
		var id, data string
		if err := rows.Scan(&id, &data); err != nil {
			return out, fmt.Errorf("read %ss: %w", what, err)
		}
		one, err := decode[T](data)
		if err != nil {
			damaged = append(damaged, fmt.Errorf("read %s %q: %w", what, id, err))
			continue
		}
		out = append(out, one)
	}
	return out, errors.Join(append(damaged, rows.Err())...)
}

func decode[T any](data string) (one T, err error) {
	if err := json.Unmarshal([]byte(data), &one); err != nil {
		return one, fmt.Errorf("damaged: %w", err)
	}
	return one, nil
}

// tidyAlarm brings all times of an alarm to the form in which they are kept.
func tidyAlarm(a alerts.Alarm) alerts.Alarm {
	for _, t := range []*time.Time{&a.Pending, &a.Clear, &a.Raised, &a.Ended, &a.AckedAt, &a.Finding.Since, &a.Finding.Seen} {
		*t = at(milli(*t))
	}
	return a
}

// tidyCall does the same for a call. A call that says no state is queued: a
// call must not be lost because nobody said that it waits.
func tidyCall(c alerts.Call) alerts.Call {
	for _, t := range []*time.Time{&c.Decided, &c.Queued, &c.Expires, &c.Next, &c.Done} {
		*t = at(milli(*t))
	}
	if c.State == "" {
		c.State = alerts.Queued
	}
	return c
}

// cut shortens s to at most n bytes of valid UTF-8.
func cut(s string, n int) string {
	return strings.ToValidUTF8(s[:min(len(s), n)], "")
}

// milli and at turn a time into what is kept and back; 0 is no time.
func milli(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMilli()
}

func at(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return ingest.Stamp(time.UnixMilli(ms))
}
