package logbook

import (
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Kin is a lot's place in the tree of lots.
type Kin struct {
	Ancestors []string `json:"ancestors,omitempty"` // its donor first, then that one's
	Sisters   []string `json:"sisters,omitempty"`   // lots with the same donor
	Daughters []string `json:"daughters,omitempty"` // lots started from it, and from those
}

// Kin returns who a lot comes from, and who comes from it. Each list is in
// order of inoculation.
func (b *Book) Kin(name string) Kin {
	b.read()
	l := b.fold.lots[name]
	if l == nil {
		return Kin{}
	}
	var k Kin
	for d := b.fold.lots[l.Donor]; d != nil && d != l && !slices.Contains(k.Ancestors, d.Name); d = b.fold.lots[d.Donor] {
		k.Ancestors = append(k.Ancestors, d.Name)
	}
	if b.fold.lots[l.Donor] != nil { // two lots "from outside" are no sisters
		k.Sisters = b.started(l.Donor, func(s *Lot) bool { return s != l })
	}
	k.Daughters = b.descent(name)
	return k
}

// started lists the lots that have a donor, the oldest first.
func (b *Book) started(donor string, wanted func(*Lot) bool) []string {
	var out []string
	for _, l := range slices.SortedFunc(slices.Values(b.fold.started[donor]), oldestFirst) {
		if wanted(l) {
			out = append(out, l.Name)
		}
	}
	return out
}

// descent is all that comes from a lot, each once.
func (b *Book) descent(name string) []string {
	var out []string
	seen := map[string]bool{name: true}
	queue := []string{name}
	for len(queue) > 0 {
		next := b.started(queue[0], func(l *Lot) bool { return !seen[l.Name] })
		for _, n := range next {
			seen[n] = true
		}
		out, queue = append(out, next...), append(queue[1:], next...)
	}
	return out
}

// Taint is why a lot must not be a donor.
type Taint struct {
	Lot string // the sick one: the lot itself, or one of its kin
	Why string // contaminated or crash
	At  time.Time
	// Suspected says that nobody has found it sick: an alarm says so. A close
	// look that finds nothing clears it.
	Suspected bool
}

// Taints returns what speaks against a lot as a donor: what was written of it
// and of its donor, sisters and daughters, and not looked into since. Others
// are sick lots that somebody else knows of, such as by an alarm.
func (b *Book) Taints(name string, others ...Taint) []Taint {
	b.read()
	l := b.fold.lots[name]
	if l == nil {
		return nil
	}
	var out []Taint
	for _, t := range append(slices.Clone(b.fold.sick), others...) {
		if b.near(l, b.fold.lots[t.Lot]) && !cleared(l, t) {
			out = append(out, t)
		}
	}
	return out
}

// near reports whether o is l itself, its donor, a sister, or comes from it.
func (b *Book) near(l, o *Lot) bool {
	if o == nil {
		return false
	}
	if o == l || o.Name == l.Donor || b.fold.lots[l.Donor] != nil && o.Donor == l.Donor {
		return true
	}
	// A donor that was written before there was a lot of that name may close a
	// circle, hence the bound.
	d := b.fold.lots[o.Donor]
	for i := 0; d != nil && i < len(b.fold.lots) && !d.Inoculated.Before(l.Inoculated); i++ {
		if d == l {
			return true
		}
		d = b.fold.lots[d.Donor]
	}
	return false
}

// cleared reports whether a lot was looked at closely after it came into doubt
// and nothing was found. One that was found contaminated itself stays so.
func cleared(l *Lot, t Taint) bool {
	if t.Lot == l.Name && !t.Suspected {
		return false
	}
	return slices.ContainsFunc(l.Looks, func(e ingest.Entry) bool { return e.Flag("clean") && e.At.After(t.At) })
}
