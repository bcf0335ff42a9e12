package room

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

const (
	// entriesKept is how many entries of one vessel are remembered as they
	// were written, so that a correction finds what it speaks of: years of it.
	entriesKept = 2000
	// relived is how much of a vessel's past is lived through again when
	// something long ago is corrected: longer than most lots.
	relived = 21 * 24 * time.Hour
	// relivedAtOnce is how much of it is read before it is stepped through.
	relivedAtOnce = 6 * time.Hour
)

// enter takes in one entry of the logbook.
func (r *Room) enter(v *vessel, e ingest.Entry) {
	if !v.remember(e) {
		return
	}
	v.news = append(v.news, e)
	aimed := e.ID()
	if e.Kind == ingest.Correct || e.Kind == ingest.Withdraw {
		aimed = e.Str("entry")
	} else if !v.amended(aimed) {
		v.insert(entryItem(e))
		return
	}
	r.amend(v, aimed)
}

// remember keeps an entry as it was written; false if it was brought again.
func (v *vessel) remember(e ingest.Entry) bool {
	id := e.ID()
	if v.has(id) {
		return false
	}
	v.logbook = append(v.logbook, kept{id, e})
	if n := len(v.logbook) - entriesKept; n > 0 {
		slices.SortStableFunc(v.logbook, func(a, b kept) int { return a.Entry.At.Compare(b.Entry.At) })
		v.logbook = slices.Delete(v.logbook, 0, n)
	}
	return true
}

// kept is an entry as it was written.
type kept struct {
	ID    string
	Entry ingest.Entry
}

func (v *vessel) has(id string) bool {
	return slices.ContainsFunc(v.logbook, func(o kept) bool { return o.ID == id })
}

// effective are the entries as they now stand.
func (v *vessel) effective() []ingest.Entry {
	all := make([]ingest.Entry, 0, len(v.logbook))
	for _, k := range v.logbook {
		all = append(all, k.Entry)
	}
	return logbook.Effective(all)
}

// amended reports whether a correction or withdrawal of that entry came before
// it did.
func (v *vessel) amended(id string) bool {
	return slices.ContainsFunc(v.logbook, func(k kept) bool { return k.Entry.Str("entry") == id })
}

// amend makes what is known what it would be if the logbook had always said
// what it says now: from the oldest mark on, or from the stored past.
func (r *Room) amend(v *vessel, aimed string) {
	if !v.has(aimed) {
		return // it speaks of nothing that is known, yet
	}
	now := v.effective()
	if len(v.marks) == 0 || v.earliest(aimed) >= v.marks[0].At {
		v.rewrite(now)
		return
	}
	if r.o.Past != nil {
		r.relive(v, now)
		return
	}
	for _, e := range now {
		v.head.Track.Note(e)
	}
}

// earliest is when the entry of that id happened, Unix ms, by its own word or
// that of whatever corrects it.
func (v *vessel) earliest(id string) int64 {
	at := int64(math.MaxInt64)
	for _, k := range v.logbook {
		about := k.Entry.Str("entry")
		if about == id || k.ID == id {
			at = min(at, k.Entry.At.UnixMilli())
		}
		if k.ID == id && about != "" { // of a correction: what that one speaks of
			at = min(at, v.earliest(about))
		}
	}
	return at
}

// rewrite puts the entries as they stand now in the place of those that were
// kept since the oldest mark, and goes back to it.
func (v *vessel) rewrite(now []ingest.Entry) {
	v.items = slices.DeleteFunc(v.items, func(it item) bool { return it.Entry != nil })
	v.next = 0
	v.back = 1
	if len(v.marks) > 0 {
		v.back = v.marks[0].At
	}
	for _, e := range now {
		if it := entryItem(e); it.At >= v.back {
			at, _ := slices.BinarySearchFunc(v.items, it, item.compare)
			v.items = slices.Insert(v.items, at, it)
		}
	}
	// Between head and items nothing fits any more, until rewind has been.
	v.rewind()
}

// relive lives through a vessel's stored past again with the logbook as it
// stands now. What it finds on the way raises nothing: its alarms have seen
// those minutes. Where the past cannot be read, what was known stays.
func (r *Room) relive(v *vessel, now []ingest.Entry) {
	until := minuteBefore(r.clock)
	from := time.UnixMilli(until).Add(-relived)
	w := newVessel(v.set)
	w.judged = max(v.judged, until)
	for _, e := range now {
		if e.At.UnixMilli() < until {
			w.insert(entryItem(e))
		}
	}
	next := from.Add(relivedAtOnce)
	for reading, err := range r.o.Past(v.set.Name, from, time.UnixMilli(until)) {
		if err != nil {
			return
		}
		if reading.At.After(next) {
			r.catchUp(w, minuteBefore(reading.At.UnixMilli()))
			next = reading.At.Add(relivedAtOnce)
		}
		w.insert(readingItem(reading))
	}
	r.catchUp(w, until)
	for _, it := range v.items { // what came since, and what is not stored yet
		w.insert(it)
	}
	for _, e := range now {
		w.insert(entryItem(e))
	}
	v.head, v.marks, v.items, v.next, v.since, v.back, v.findings = w.head, w.marks, w.items, w.next, w.since, w.back, w.findings
}

// explainsWithin is how far an entry may lie from when a trouble began, to
// have made it: people write from memory.
const explainsWithin = time.Hour

// explain notes on an alarm whose trouble has just gone the entry that came
// meanwhile and made it go.
func (v *vessel) explain(a alerts.Alarm) alerts.Alarm {
	var best ingest.Entry
	far := time.Duration(1 << 62)
	for _, e := range v.news {
		d := e.At.Sub(a.Finding.Since).Abs()
		amends := e.Kind == ingest.Correct || e.Kind == ingest.Withdraw
		if (d <= explainsWithin || amends || e.Kind == ingest.End || e.Kind == ingest.Dump) && d < far {
			best, far = e, d
		}
	}
	if best.Kind != "" {
		a.Explained = said(best)
	}
	return a
}

// said is an entry in words, with who wrote it.
func said(e ingest.Entry) string {
	return fmt.Sprintf("%s; written by %s", strings.TrimSpace(logbook.Sentence(e)), cmp.Or(e.Who, "somebody"))
}

// settleNews forgets what came, once a minute was judged with it.
func (v *vessel) settleNews() { v.news = nil }

// Remember replaces what is remembered of the logbook, as it was written: for
// a room that was built again from the logbook as it stands.
func (r *Room) Remember(entries []ingest.Entry) {
	for _, v := range r.order {
		v.logbook, v.news = nil, nil
	}
	for _, e := range entries {
		if v := r.vessels[e.Vessel]; v != nil {
			v.remember(e)
		}
	}
}
