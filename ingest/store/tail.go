package store

import (
	"cmp"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"github.com/nightshelf/nightshelf/ingest"
)

// reading reports whether r is new, and if so puts it into the tail. A
// reading newer than every other of its series is new without a look at the
// disk; that is nearly all of them.
func (a *appender) reading(r ingest.Reading) (bool, error) {
	v, err := a.vessel(r)
	if err != nil {
		return false, err
	}
	k := key{series{v, r.Quantity}, r.At.UnixMilli()}
	newest, seen := a.s.known.newest[k.series]
	if seen && k.ts <= newest {
		there, err := a.there(k)
		if there || err != nil {
			return false, err
		}
	} else {
		a.s.known.newest[k.series] = k.ts
		a.newest[k.series] = sample{k.ts, r.Value}
	}
	a.count(k)
	a.waiting[k] = struct{}{}
	a.args = append(a.args, k.ts, k.v, int64(k.q), r.Value)
	if len(a.waiting) == rowsPerStatement {
		return true, a.flush()
	}
	return true, nil
}

// vessel returns the number of the vessel, a new one for a new name.
func (a *appender) vessel(r ingest.Reading) (int64, error) {
	if id, ok := a.s.known.vessels[r.Vessel]; ok {
		return id, nil
	}
	ms := r.At.UnixMilli()
	res, err := a.exec(a.s.stmts.vessel, r.Vessel, ms, ms)
	if err != nil {
		return 0, err
	}
	id, err := res.LastInsertId()
	if err != nil {
		return 0, err
	}
	if id > maxVessels {
		return 0, fmt.Errorf("there are %d vessels already", maxVessels)
	}
	a.s.known.vessels[r.Vessel] = id
	return id, nil
}

// there reports whether a reading that is not the newest of its series is
// kept already: among the rows that wait, in the tail or in a pack.
func (a *appender) there(k key) (bool, error) {
	if _, ok := a.waiting[k]; ok {
		return true, nil
	}
	var one int
	row := a.stmt(a.s.stmts.inTail).QueryRowContext(a.ctx, k.ts, k.v, int64(k.q))
	if err := row.Scan(&one); !errors.Is(err, sql.ErrNoRows) {
		return err == nil, err
	}
	if hourOf(k.ts) >= a.s.packedTo {
		return false, nil
	}
	id := packID(k.series, hourOf(k.ts))
	samples, ok := a.packs[id]
	if !ok {
		var err error
		if samples, err = loadPack(a.ctx, a.tx, id); err != nil {
			return false, err
		}
		a.packs[id] = samples
	}
	_, found := slices.BinarySearchFunc(samples, k.ts, func(s sample, ts int64) int { return cmp.Compare(s.ts, ts) })
	return found, nil
}

func (a *appender) count(k key) {
	st := a.stats[k.v]
	if st == nil {
		st = &stat{first: k.ts, last: k.ts}
		a.stats[k.v] = st
	}
	st.first, st.last = min(st.first, k.ts), max(st.last, k.ts)
	st.readings++
}

// flush writes the rows that wait.
func (a *appender) flush() error {
	args, stmt, step := a.args, a.s.stmts.tailOne, 4
	if len(a.waiting) == rowsPerStatement {
		stmt, step = a.s.stmts.tailMany, len(args)
	}
	for ; len(args) > 0; args = args[step:] {
		res, err := a.exec(stmt, args[:step]...)
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err != nil || n != int64(step/4) {
			return errors.Join(err, fmt.Errorf("%d of %d readings were new where all should be", n, step/4))
		}
	}
	a.args = a.args[:0]
	clear(a.waiting)
	return nil
}

// finish writes what is left, and what changed about vessels.
func (a *appender) finish() error {
	if err := a.flush(); err != nil {
		return fmt.Errorf("keep readings: %w", err)
	}
	for s, newest := range a.newest {
		if _, err := a.exec(a.s.stmts.newest, s.v, int64(s.q), newest.ts, newest.value); err != nil {
			return fmt.Errorf("keep newest readings: %w", err)
		}
	}
	for v, st := range a.stats {
		if _, err := a.exec(a.s.stmts.stat, st.readings, st.first, st.last, v); err != nil {
			return fmt.Errorf("count readings: %w", err)
		}
	}
	return nil
}
