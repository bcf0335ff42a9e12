package store

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Refused returns what was set aside, the newest first, at most limit (0 or
// less: all that is kept, see MaxRefused).
func (s *Store) Refused(ctx context.Context, limit int) ([]ingest.Refused, error) {
	if limit <= 0 {
		limit = MaxRefused
	}
	var out []ingest.Refused
	err := each(ctx, s.reader, `select reason, detail, line, col, topic, input, size, arrived from refused
		order by n desc limit ?`, []any{limit}, func(rows *sql.Rows) error {
		var r ingest.Refused
		var topic []byte
		var arrived int64
		err := rows.Scan(&r.Reason, &r.Detail, &r.Line, &r.Column, &topic, &r.Input, &r.Size, &arrived)
		r.Topic, r.Arrived = string(topic), time.UnixMilli(arrived).UTC()
		out = append(out, r)
		return err
	})
	return out, s.failed("read refused input", err)
}

// Totals counts what is kept.
func (s *Store) Totals(ctx context.Context) (Totals, error) {
	t := Totals{Refused: make(map[ingest.Reason]int64)}
	err := s.reader.QueryRowContext(ctx, `select coalesce(sum(readings), 0), count(*), (select count(*) from entry)
		from vessel`).Scan(&t.Readings, &t.Vessels, &t.Entries)
	if err != nil {
		return t, s.failed("count readings", err)
	}
	err = each(ctx, s.reader, "select reason, n from refused_count where n > 0", nil, func(rows *sql.Rows) error {
		var reason ingest.Reason
		var n int64
		err := rows.Scan(&reason, &n)
		t.Refused[reason] = n
		return err
	})
	if err != nil {
		return t, s.failed("count refused input", err)
	}
	t.Bytes, err = s.bytesOnDisk()
	return t, s.failed("measure files", err)
}

func (s *Store) bytesOnDisk() (total int64, err error) {
	for _, ending := range []string{"", "-wal", "-shm"} {
		info, err := os.Stat(s.path + ending)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return 0, err
		}
		total += info.Size()
	}
	return total, nil
}

// Vessels returns the vessels of which there are readings, in order of name.
func (s *Store) Vessels(ctx context.Context) ([]Seen, error) {
	var out []Seen
	err := each(ctx, s.reader, "select name, first, last, readings from vessel order by name", nil, func(rows *sql.Rows) error {
		var v Seen
		var first, last int64
		err := rows.Scan(&v.Name, &first, &last, &v.Readings)
		v.First, v.Last = time.UnixMilli(first).UTC(), time.UnixMilli(last).UTC()
		out = append(out, v)
		return err
	})
	return out, s.failed("read vessels", err)
}
