package logbook

import (
	"cmp"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Kin is a lot's place in the tree of lots.
type Kin struct {
	Ancestors []string // its donor first, then that one's
	Sisters   []string // lots with the same donor
	Daughters []string // lots started from it, and from those
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
	if l.Donor != "" {
		k.Sisters = b.started(l.Donor, func(s *Lot) bool { return s != l })
	}
	k.Daughters = b.descent(name)
	return k
}

// started lists the lots that have a donor, the oldest first.
func (b *Book) started(donor string, wanted func(*Lot) bool) []string {
	var list []*Lot
	for _, l := range b.fold.lots {
		if l.Donor == donor && wanted(l) {
			list = append(list, l)
		}
	}
	slices.SortFunc(list, oldestFirst)
	var out []string
	for _, l := range list {
		out = append(out, l.Name)
	}
	return out
}

// descent is all that comes from a lot, each once.
func (b *Book) descent(name string) []string {
	var out []string
	queue := []string{name}
	for len(queue) > 0 {
		next := b.started(queue[0], func(l *Lot) bool { return l.Name != name && !slices.Contains(out, l.Name) })
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
	near := map[string]bool{name: true, l.Donor: true}
	k := b.Kin(name)
	for _, n := range append(k.Sisters, k.Daughters...) {
		near[n] = true
	}
	var out []Taint
	for _, t := range append(b.sick(), others...) {
		if near[t.Lot] && !cleared(l, t) {
			out = append(out, t)
		}
	}
	return out
}

// sick lists what the logbook itself says of sick lots, the oldest first.
func (b *Book) sick() []Taint {
	var out []Taint
	for _, l := range b.fold.lots {
		if l.Why == Crashed || l.Why == Contaminated {
			out = append(out, Taint{Lot: l.Name, Why: l.Why, At: l.Ended})
		}
		for _, e := range l.Looks {
			if e.Flag("contaminated") {
				out = append(out, Taint{Lot: l.Name, Why: Contaminated, At: e.At})
			}
		}
	}
	slices.SortFunc(out, func(a, b Taint) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Why, b.Why))
	})
	return out
}

// cleared reports whether a lot was looked at closely after it came into doubt
// and nothing was found. One that was found contaminated itself stays so.
func cleared(l *Lot, t Taint) bool {
	if t.Lot == l.Name && !t.Suspected {
		return false
	}
	return slices.ContainsFunc(l.Looks, func(e ingest.Entry) bool { return e.Flag("clean") && e.At.After(t.At) })
}
