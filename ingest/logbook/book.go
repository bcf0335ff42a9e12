package logbook

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Book is the folded logbook of a room. It is not safe for concurrent use.
type Book struct {
	sizes map[string]float64
	raw   []ingest.Entry
	ids   map[string]int  // place in raw
	aimed map[string]bool // ids that a correction or withdrawal names
	// fold holds what all entries make, up to date unless stale.
	fold  fold
	notes []Noted
	stale bool
}

// New returns the book of a room in which nothing was written yet, with what
// vessels hold when they are full.
func New(vessels []ingest.Vessel) *Book {
	b := &Book{sizes: map[string]float64{}, ids: map[string]int{}, aimed: map[string]bool{}, stale: true}
	for _, v := range vessels {
		b.sizes[v.Name] = v.VolumeL
	}
	return b
}

// Add takes entries in, in any order; those that it has already are passed
// over.
func (b *Book) Add(entries ...ingest.Entry) {
	for _, e := range entries {
		id := e.ID()
		if _, ok := b.ids[id]; ok {
			continue
		}
		b.ids[id] = len(b.raw)
		b.raw = append(b.raw, e)
		if e.Kind == ingest.Correct || e.Kind == ingest.Withdraw {
			b.aimed[e.Str("entry")] = true
		}
		b.stale = b.stale || !b.append(e, id)
	}
}

// append takes in an entry that comes after all others; false if it does not,
// so that the book must be read again.
func (b *Book) append(e ingest.Entry, id string) bool {
	n := Noted{Entry: e, ID: id, Original: e}
	if b.stale || b.aimed[id] || e.Kind == ingest.Correct || e.Kind == ingest.Withdraw ||
		len(b.notes) > 0 && byHappening(b.notes[len(b.notes)-1], n) >= 0 {
		return false
	}
	b.notes = append(b.notes, n)
	b.fold.step(e)
	return true
}

// read folds everything again where an entry came out of its turn.
func (b *Book) read() {
	if !b.stale {
		return
	}
	b.fold = newFold(b.sizes)
	b.notes = notes(b.raw)
	for _, n := range b.notes {
		if n.Withdrawn == nil {
			b.fold.step(n.Entry)
		}
	}
	b.stale = false
}

// before returns the book as it stood when e happened.
func (b *Book) before(e ingest.Entry) *Book {
	b.read()
	n := Noted{Entry: e, ID: e.ID()}
	if len(b.notes) == 0 || byHappening(b.notes[len(b.notes)-1], n) < 0 {
		return b
	}
	past := &Book{sizes: b.sizes, fold: newFold(b.sizes)}
	for _, m := range b.notes {
		if byHappening(m, n) < 0 {
			past.notes = append(past.notes, m)
			if m.Withdrawn == nil {
				past.fold.step(m.Entry)
			}
		}
	}
	return past
}

// without returns the book as if an entry had never been written.
func (b *Book) without(id string) *Book {
	out := &Book{sizes: b.sizes, ids: map[string]int{}, aimed: map[string]bool{}, stale: true}
	for _, e := range b.raw {
		if e.ID() != id {
			out.Add(e)
		}
	}
	return out
}

// Vessel returns a vessel as it now stands, one of which nothing was written
// where the book does not know it.
func (b *Book) Vessel(name string) Vessel {
	b.read()
	if v := b.fold.vessels[name]; v != nil {
		return v.clone()
	}
	f := newFold(nil)
	return *f.vessel(name)
}

// Lot returns a lot by its name.
func (b *Book) Lot(name string) (Lot, bool) {
	b.read()
	if l := b.fold.lots[name]; l != nil {
		return l.clone(), true
	}
	return Lot{}, false
}

// Lots returns all lots, the oldest first.
func (b *Book) Lots() []Lot {
	b.read()
	list := make([]*Lot, 0, len(b.fold.lots))
	for _, l := range b.fold.lots {
		list = append(list, l)
	}
	slices.SortFunc(list, oldestFirst)
	out := make([]Lot, 0, len(list))
	for _, l := range list {
		out = append(out, l.clone())
	}
	return out
}

// Entries returns the entries of a vessel (empty: of all) that happened from
// one time to before another, as they now stand, withdrawn ones included, in
// the order in which they happened.
func (b *Book) Entries(vessel string, from, to time.Time) []Noted {
	b.read()
	var out []Noted
	for _, n := range b.notes {
		if (vessel == "" || n.Vessel == vessel) && !n.At.Before(from) && (to.IsZero() || n.At.Before(to)) {
			out = append(out, n)
		}
	}
	return out
}

// leastID is how many digits of an entry's id name it.
const leastID = 6

// Find returns the one entry whose id begins so.
func (b *Book) Find(id string) (Noted, error) {
	b.read()
	if len(id) < leastID {
		return Noted{}, fmt.Errorf("%q is too short for the id of an entry: at least %d of its digits are needed", short(id), leastID)
	}
	var found []Noted
	for _, n := range b.notes {
		if strings.HasPrefix(n.ID, id) {
			found = append(found, n)
		}
	}
	switch len(found) {
	case 0:
		return Noted{}, fmt.Errorf("no entry has an id that begins with %q", short(id))
	case 1:
		return found[0], nil
	}
	return Noted{}, fmt.Errorf("%d entries have an id that begins with %q", len(found), short(id))
}

// about finds what a correction or withdrawal speaks of, by its whole id or
// by its beginning, and gives it the whole one.
func (b *Book) about(e ingest.Entry) (Noted, error) {
	id := e.Str("entry")
	n, err := b.Find(id)
	if err == nil || len(id) < leastID {
		return n, err
	}
	for whole, i := range b.ids { // of a correction or withdrawal itself
		if k := b.raw[i].Kind; strings.HasPrefix(whole, id) && (k == ingest.Correct || k == ingest.Withdraw) {
			return Noted{Entry: b.raw[i], ID: whole}, nil
		}
	}
	return n, err
}

// Settle checks an entry against the book and fills in what the book knows: a
// correction or withdrawal gets the whole id of its entry, its vessel, and its
// time unless it says another. Its errors are [*Fault], as those of [Check].
func (b *Book) Settle(e ingest.Entry) (ingest.Entry, error) {
	if err := Check(e); err != nil {
		return e, err
	}
	if e.Kind != ingest.Correct && e.Kind != ingest.Withdraw {
		return e, nil
	}
	n, err := b.about(e)
	if err != nil {
		return e, &Fault{"entry", err.Error()}
	}
	e.Fields = cloneFields(e.Fields)
	e.Fields["entry"] = ingest.Text(n.ID)
	e.Vessel = cmp.Or(e.Vessel, n.Vessel)
	if e.At.IsZero() {
		e.At = n.At
	}
	if e.Vessel != n.Vessel {
		return e, &Fault{"entry", fmt.Sprintf("that entry is of vessel %q, not %q: withdraw it and write it anew", n.Vessel, e.Vessel)}
	}
	if e.Kind == ingest.Correct {
		e.Fields = inUnitsOf(n.Kind, e.Fields)
		return e, Check(corrected(n.Entry, e))
	}
	return e, nil
}

// inUnitsOf brings litres to millilitres, or back, where the entry that is
// corrected says its volume in the other.
func inUnitsOf(k ingest.Kind, fields map[string]ingest.Value) map[string]ingest.Value {
	for _, to := range []struct {
		has, want string
		factor    float64
	}{{"volume_l", "volume_ml", 1000}, {"volume_ml", "volume_l", 1e-3}} {
		v, said := fields[to.has]
		_, own := field(k, to.has)
		_, other := field(k, to.want)
		if said && !own && other {
			delete(fields, to.has)
			fields[to.want] = ingest.Num(v.Num * to.factor)
		}
	}
	return fields
}

func cloneFields(fields map[string]ingest.Value) map[string]ingest.Value {
	out := make(map[string]ingest.Value, len(fields)+1)
	for k, v := range fields {
		out[k] = v
	}
	return out
}
