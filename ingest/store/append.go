package store

import (
	"context"
	"database/sql"
	"fmt"

	"github.com/nightshelf/nightshelf/ingest"
)

// Append keeps b in one transaction: after nil all of it is on disk, after an
// error nothing. b.Seq is ignored; Kept.Seq is higher than every one given
// before, and 0 where b holds neither readings nor entries and so is nothing
// to digest.
func (s *Store) Append(ctx context.Context, b ingest.Batch) (ingest.Kept, error) {
	kept, err := s.AppendAll(ctx, []ingest.Batch{b})
	if err != nil {
		return ingest.Kept{}, err
	}
	return kept[0], nil
}

// AppendAll keeps several batches in the order given in one transaction: one
// write to the disk for all of them. The answer has one Kept for each.
func (s *Store) AppendAll(ctx context.Context, batches []ingest.Batch) ([]ingest.Kept, error) {
	kept := make([]ingest.Kept, len(batches))
	if len(batches) == 0 {
		return kept, nil
	}
	err := s.withTurn(ctx, func(tx *sql.Tx) error {
		a := newAppender(ctx, s, tx)
		for i, b := range batches {
			var err error
			if kept[i], err = a.batch(Usable(b)); err != nil {
				return err
			}
		}
		return a.finish()
	})
	if err != nil {
		return nil, fmt.Errorf("append: %w", err)
	}
	return kept, nil
}

// appender is the work of one transaction that appends.
type appender struct {
	s   *Store
	ctx context.Context
	tx  *sql.Tx

	stmts   map[*sql.Stmt]*sql.Stmt // bound to tx
	args    []any                   // of the tail rows that wait for their statement
	waiting map[key]struct{}        // the same rows
	packs   map[int64][]sample
	newest  map[series]sample // changed here
	stats   map[int64]*stat   // changed here, by vessel
}

type key struct {
	series
	ts int64
}

type stat struct{ first, last, readings int64 }

func newAppender(ctx context.Context, s *Store, tx *sql.Tx) *appender {
	return &appender{s: s, ctx: ctx, tx: tx, stmts: make(map[*sql.Stmt]*sql.Stmt), waiting: make(map[key]struct{}), packs: make(map[int64][]sample),
		newest: make(map[series]sample), stats: make(map[int64]*stat)}
}

// stmt binds a prepared statement to the transaction, once.
func (a *appender) stmt(prepared *sql.Stmt) *sql.Stmt {
	bound, ok := a.stmts[prepared]
	if !ok {
		bound = a.tx.StmtContext(a.ctx, prepared)
		a.stmts[prepared] = bound
	}
	return bound
}

func (a *appender) exec(prepared *sql.Stmt, args ...any) (sql.Result, error) {
	return a.stmt(prepared).ExecContext(a.ctx, args...)
}

func (a *appender) batch(b ingest.Batch) (kept ingest.Kept, err error) {
	for _, r := range b.Readings {
		isNew, err := a.reading(r)
		if err != nil {
			return kept, fmt.Errorf("keep reading of vessel %q: %w", r.Vessel, err)
		}
		if isNew {
			kept.Stored++
		} else {
			kept.Duplicates++
		}
	}
	for _, e := range b.Entries {
		isNew, err := a.entry(e)
		if err != nil {
			return kept, fmt.Errorf("keep entry of vessel %q: %w", e.Vessel, err)
		}
		if isNew {
			kept.Entries++
		}
	}
	if err := a.refused(b.Refused); err != nil {
		return kept, fmt.Errorf("keep refused input: %w", err)
	}
	kept.Refused = len(b.Refused)
	if len(b.Readings)+len(b.Entries) == 0 {
		return kept, nil
	}
	res, err := a.exec(a.s.stmts.inbox, b.Arrived.UnixMilli(), encodeBatch(b))
	if err != nil {
		return kept, fmt.Errorf("keep batch: %w", err)
	}
	kept.Seq, err = res.LastInsertId()
	return kept, err
}

// entry reports whether e is new.
func (a *appender) entry(e ingest.Entry) (bool, error) {
	res, err := a.exec(a.s.stmts.entry, e.ID(), e.Vessel, e.At.UnixMilli(), e.Written.UnixMilli(), encodeEntry(e))
	if err != nil {
		return false, err
	}
	n, err := res.RowsAffected()
	return n == 1, err
}

func (a *appender) refused(all []ingest.Refused) error {
	if len(all) == 0 {
		return nil
	}
	var last int64
	for _, r := range all {
		res, err := a.exec(a.s.stmts.refused, string(r.Reason), r.Detail, r.Line, r.Column, []byte(r.Topic),
			notNil(r.Input), r.Size, r.Arrived.UnixMilli())
		if err != nil {
			return err
		}
		if last, err = res.LastInsertId(); err != nil {
			return err
		}
		if _, err := a.exec(a.s.stmts.countRefused, string(r.Reason)); err != nil {
			return err
		}
	}
	_, err := a.exec(a.s.stmts.trimRefused, last-MaxRefused)
	return err
}

func notNil(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}
