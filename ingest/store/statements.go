package store

import (
	"context"
	"database/sql"
	"strings"
)

// rowsPerStatement is how many readings go into one insert.
const rowsPerStatement = 50

// statements are prepared once on the one connection of the writer.
type statements struct {
	tailOne, tailMany, inTail *sql.Stmt
	vessel, stat, newest      *sql.Stmt
	entry, inbox              *sql.Stmt
	refused, countRefused     *sql.Stmt
	trimRefused               *sql.Stmt
}

func (s *Store) prepare(ctx context.Context) error {
	tail := func(rows int) string {
		return "insert or ignore into tail (ts, v, q, value) values (?, ?, ?, ?)" +
			strings.Repeat(", (?, ?, ?, ?)", rows-1)
	}
	for _, p := range []struct {
		stmt **sql.Stmt
		text string
	}{
		{&s.stmts.tailOne, tail(1)},
		{&s.stmts.tailMany, tail(rowsPerStatement)},
		{&s.stmts.inTail, "select 1 from tail where ts = ? and v = ? and q = ?"},
		{&s.stmts.vessel, "insert into vessel (name, first, last, readings) values (?, ?, ?, 0)"},
		{&s.stmts.stat, "update vessel set readings = readings + ?, first = min(first, ?), last = max(last, ?) where id = ?"},
		{&s.stmts.newest, `insert into newest (v, q, ts, value) values (?, ?, ?, ?)
			on conflict (v, q) do update set ts = excluded.ts, value = excluded.value`},
		{&s.stmts.entry, "insert into entry (id, vessel, at, written, data) values (?, ?, ?, ?, ?) on conflict (id) do nothing"},
		{&s.stmts.inbox, "insert into inbox (arrived, data) values (?, ?)"},
		{&s.stmts.refused, `insert into refused (reason, detail, line, col, topic, input, size, arrived)
			values (?, ?, ?, ?, ?, ?, ?, ?)`},
		{&s.stmts.countRefused, `insert into refused_count (reason, n) values (?, 1)
			on conflict (reason) do update set n = n + 1`},
		{&s.stmts.trimRefused, "delete from refused where n <= ?"},
	} {
		var err error
		if *p.stmt, err = s.writer.PrepareContext(ctx, p.text); err != nil {
			return err
		}
	}
	return nil
}
