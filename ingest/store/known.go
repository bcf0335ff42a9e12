package store

import (
	"context"
	"database/sql"
	"fmt"

	"github.com/nightshelf/nightshelf/ingest"
)

// series is one quantity of one vessel, by the vessel's number.
type series struct {
	v int64
	q ingest.Quantity
}

type sample struct {
	ts    int64 // ms
	value float64
}

// known is what an append must know of the database and would be slow to ask
// for each reading. It is filled from the database and dropped whenever a
// transaction fails.
type known struct {
	vessels map[string]int64
	newest  map[series]int64 // ms; a reading after this one cannot be a duplicate
}

// remember fills s.known. The caller holds the turn.
func (s *Store) remember(ctx context.Context, tx *sql.Tx) error {
	if s.known != nil {
		return nil
	}
	k := &known{vessels: make(map[string]int64), newest: make(map[series]int64)}
	err := each(ctx, tx, "select id, name from vessel", nil, func(rows *sql.Rows) error {
		var id int64
		var name string
		err := rows.Scan(&id, &name)
		k.vessels[name] = id
		return err
	})
	if err != nil {
		return fmt.Errorf("read vessels: %w", err)
	}
	err = each(ctx, tx, "select v, q, ts from newest", nil, func(rows *sql.Rows) error {
		var key series
		var ts int64
		err := rows.Scan(&key.v, &key.q, &ts)
		k.newest[key] = ts
		return err
	})
	if err != nil {
		return fmt.Errorf("read newest readings: %w", err)
	}
	err = tx.QueryRowContext(ctx, "select coalesce(max(hour) + 1, 0) from packed_hour").Scan(&s.packedTo)
	if err != nil {
		return fmt.Errorf("read packed hours: %w", err)
	}
	s.known = k
	return nil
}

// querier is what sql.DB, sql.Tx and sql.Conn have in common.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// each calls scan for every row of a query.
func each(ctx context.Context, q querier, query string, args []any, scan func(*sql.Rows) error) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
