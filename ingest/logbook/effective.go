package logbook

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Noted is an entry as it now stands, with what was done to it since it was
// written.
type Noted struct {
	ingest.Entry
	ID        string
	Original  ingest.Entry   // as it was written first
	Corrected []ingest.Entry // the corrections that count, in order of writing
	Withdrawn *ingest.Entry  // nil: it stands
}

// Effective returns entries as they now stand: without repetitions, corrected,
// in the order in which they happened. Those that are withdrawn are left out;
// corrections and withdrawals are no part of it themselves.
func Effective(entries []ingest.Entry) []ingest.Entry {
	var out []ingest.Entry
	for _, n := range notes(entries) {
		if n.Withdrawn == nil {
			out = append(out, n.Entry)
		}
	}
	return out
}

// notes works out how each entry now stands, in order of happening.
func notes(entries []ingest.Entry) []Noted {
	var own []Noted
	aimed := map[string][]Noted{} // by the id that they name
	seen := make(map[string]bool, len(entries))
	for _, e := range entries {
		id := e.ID()
		if seen[id] {
			continue
		}
		seen[id] = true
		if e.Kind == ingest.Correct || e.Kind == ingest.Withdraw {
			about := e.Str("entry")
			aimed[about] = append(aimed[about], Noted{Entry: e, ID: id})
			continue
		}
		own = append(own, Noted{Entry: e, ID: id, Original: e})
	}
	for _, list := range aimed {
		slices.SortFunc(list, byWriting)
	}
	for i := range own {
		own[i] = amend(own[i], aimed, 0)
	}
	slices.SortStableFunc(own, byHappening)
	return own
}

// deepest bounds corrections of corrections; nobody means more.
const deepest = 16

// amend applies to an entry what was written about it.
func amend(n Noted, aimed map[string][]Noted, depth int) Noted {
	if depth > deepest {
		return n
	}
	for _, about := range aimed[n.ID] {
		about = amend(about, aimed, depth+1)
		switch {
		case about.Vessel != n.Vessel: // nobody corrects what was done to another
		case about.Withdrawn != nil: // a withdrawal withdrawn: it stands again
		case about.Kind == ingest.Withdraw:
			e := about.Entry
			n.Withdrawn = &e
		default:
			n.Entry = corrected(n.Entry, about.Entry)
			n.Corrected = append(n.Corrected, about.Entry)
		}
	}
	return n
}

// corrected is an entry with the words of a correction in place of its own.
// The correction says when it really happened by its own time. A text that is
// corrected to nothing goes.
func corrected(e, c ingest.Entry) ingest.Entry {
	e.At = c.At
	e.Fields = maps.Clone(e.Fields)
	for name, v := range c.Fields {
		switch {
		case name == "entry":
		case v.Form == 's' && v.Text == "":
			delete(e.Fields, name)
		default:
			if e.Fields == nil {
				e.Fields = map[string]ingest.Value{}
			}
			e.Fields[name] = v
		}
	}
	return e
}

func byWriting(a, b Noted) int {
	return cmp.Or(a.Written.Compare(b.Written), strings.Compare(a.ID, b.ID))
}

// byHappening orders entries as they happened. At one time, water and
// chemicals come before the inoculum, an end before the start of the next.
func byHappening(a, b Noted) int {
	return cmp.Or(a.At.Compare(b.At), cmp.Compare(turn(a.Kind), turn(b.Kind)), byWriting(a, b))
}

// turns are the places of kinds that carry the same time.
var turns = map[ingest.Kind]int{ingest.End: 1, ingest.Harvest: 2, ingest.Dump: 3,
	// Rinses are told apart by the order in which they were written alone.
	ingest.Clean: 4, ingest.Rinse: 4, ingest.AcidRinse: 4,
	ingest.Fill: 5, ingest.Chlorinate: 6, ingest.Neutralise: 7, ingest.ChlorineTest: 8, ingest.Dose: 9, ingest.Inoculate: 10}

func turn(k ingest.Kind) int {
	if t := turns[k]; t > 0 {
		return t
	}
	return len(turns)
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
