package page

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// entries are the logbook of the record, numbered as its marks are in the
// chart. What was withdrawn has no mark and no number.
func (v viewer) entries(r record) []entryView {
	if r.noted == nil {
		var out []entryView
		for i, e := range r.entries {
			out = append(out, v.entry(i, e))
		}
		return out
	}
	var out []entryView
	n := 0
	for _, noted := range r.noted {
		w := v.noted(n, noted)
		if noted.Withdrawn == nil {
			n++
		} else {
			w.Number = ""
		}
		out = append(out, w)
	}
	return out
}

// noted is an entry as the logbook has it, with what was done to it since.
func (v viewer) noted(i int, n logbook.Noted) entryView {
	w := v.entry(i, n.Entry)
	w.ID = n.ID[:8]
	for _, c := range n.Corrected {
		w.Amended = "corrected " + v.clock.at(c.Written).Text + " by " + isolate(cmp.Or(c.Who, "somebody"))
	}
	if len(n.Corrected) > 0 {
		w.Amended += "; first written as " + isolate(legible([]byte(logbook.Sentence(n.Original)))) + ", " + v.clock.at(n.Original.At).Text
	}
	if by := n.Str(logbook.OverruledBy); by != "" {
		w.Doubts = "in spite of the questions (" + strings.ReplaceAll(n.Str("overruled"), "_", " ") + "), answered for by " + isolate(by)
	}
	if n.Withdrawn != nil {
		w.Gone = "withdrawn " + v.clock.at(n.Withdrawn.Written).Text + " by " + isolate(cmp.Or(n.Withdrawn.Who, "somebody"))
		return w
	}
	q := url.Values{"vessel": {n.Vessel}, "entry": {n.ID}}
	q.Set("kind", string(ingest.Correct))
	w.Correct = "/entry?" + q.Encode()
	q.Set("kind", string(ingest.Withdraw))
	w.Unwrite = "/entry?" + q.Encode()
	return w
}

// book puts what the logbook knows onto a vessel's page.
func (s *site) book(p *vesselPage, v viewer, view VesselView) {
	if s.Logbook == nil {
		return
	}
	name := view.Vessel.Name
	p.Label = "/label?vessel=" + url.QueryEscape(name)
	p.Next, p.Prepare = s.nextStep(v, name)
	s.Logbook.Read(func(b *logbook.Book) {
		p.First, p.Rest = offers(b.Vessel(name))
		if l, ok := b.Lot(view.Estimate.Lot); ok {
			p.Facts = append(p.Facts, v.lotFacts(b, l)...)
		}
	})
}

// lotFacts are what the logbook tells of a lot.
func (v viewer) lotFacts(b *logbook.Book, l logbook.Lot) (facts []fact) {
	add := func(name, value string) {
		if value != "" {
			facts = append(facts, fact{Name: name, Value: value})
		}
	}
	donor := fact{Name: "Donor", Value: isolateOrEmpty(l.Donor)}
	if d, ok := b.Lot(l.Donor); ok {
		donor.Path = vesselPath(d.Vessel)
	}
	if donor.Value != "" {
		facts = append(facts, donor)
	}
	add("Generation", strconv.Itoa(l.Generation))
	if l.Role == logbook.Stock {
		add("Kept as", "stock culture")
	}
	kin := b.Kin(l.Name)
	add("Sisters", names(kin.Sisters))
	add("Daughters", names(kin.Daughters))
	for _, d := range l.Doses {
		add("Dosed", v.clock.at(d.At).Text+partsOf(d))
	}
	if n := len(l.Harvests); n > 0 {
		add("Harvested", plain(l.HarvestedL())+" L in "+count(n, "draw"))
	}
	for _, c := range l.Counts[max(0, len(l.Counts)-4):] {
		add("Counted", v.counted(c))
	}
	var sick []logbook.Taint
	for _, w := range v.shelf.Vessels {
		sick = append(sick, Suspected(w.Alarms)...)
	}
	for _, t := range b.Taints(l.Name, sick...) {
		why := t.Why
		if t.Suspected {
			why = "under suspicion of " + why + " by an alarm"
		}
		add("Not to be a donor", "lot "+isolate(t.Lot)+": "+why+", "+v.clock.at(t.At).Text)
	}
	var unasked []string
	for _, d := range l.Unasked {
		unasked = append(unasked, d.Says)
	}
	add("Unasked at its start", strings.Join(unasked, " "))
	return facts
}

// Suspected lists the lots that alarms say are sick, as the logbook wants to
// be told of them, which does not know alarms.
func Suspected(alarms []alerts.Alarm) (out []logbook.Taint) {
	for _, a := range alarms {
		why := map[analysis.Class]string{analysis.Crash: logbook.Crashed, analysis.Contaminated: logbook.Contaminated}[a.Class]
		if why != "" && a.Finding.Lot != "" {
			out = append(out, logbook.Taint{Lot: a.Finding.Lot, Why: why, At: a.Raised, Suspected: true})
		}
	}
	return out
}

// taintOf is what the logbook says against a lot itself, for its card.
func (s *site) taintOf(v viewer, view VesselView) (out []string) {
	if s.Logbook == nil || view.Estimate.Lot == "" || !view.Estimate.Ended.IsZero() {
		return nil
	}
	s.Logbook.Read(func(b *logbook.Book) {
		for _, t := range b.Taints(view.Estimate.Lot) {
			if t.Lot == view.Estimate.Lot {
				out = append(out, "Found contaminated, "+v.clock.at(t.At).Text+": start nothing from it.")
				return
			}
		}
	})
	return out
}

// mostNames is how many relatives are named.
const mostNames = 12

func names(list []string) string {
	var out []string
	for _, n := range list[:min(len(list), mostNames)] {
		out = append(out, isolate(n))
	}
	if more := len(list) - mostNames; more > 0 {
		out = append(out, "and "+strconv.Itoa(more)+" more")
	}
	return strings.Join(out, ", ")
}

func partsOf(d logbook.Dosed) string {
	var parts []string
	for part, ml := range d.PartsML {
		say := "part " + part + " " + plain(ml) + " mL"
		if b := d.Bottles[part]; b != "" {
			say += " of bottle " + isolate(b)
		}
		parts = append(parts, say)
	}
	slices.Sort(parts)
	if len(parts) == 0 {
		return ""
	}
	return ": " + strings.Join(parts, ", ")
}

func (v viewer) counted(c logbook.Counted) string {
	var parts []string
	if finite(c.CellsPerML) {
		parts = append(parts, strconv.FormatFloat(c.CellsPerML, 'g', 3, 64)+" cells/mL")
	}
	if finite(c.OD) {
		parts = append(parts, "od "+figure(c.OD))
	}
	return strings.Join(parts, ", ") + ", " + v.clock.at(c.At).Text
}

// justWritten says what was written, corrected or withdrawn a moment ago.
func (s *site) justWritten(id string) string {
	if s.Logbook == nil || id == "" {
		return ""
	}
	said := ""
	s.Logbook.Read(func(b *logbook.Book) {
		if n, err := b.Find(id); err == nil {
			said = "Written down: "
			switch {
			case n.Withdrawn != nil:
				said = "Withdrawn: "
			case len(n.Corrected) > 0:
				said = "Corrected: "
			}
			said += logbook.Sentence(n.Entry)
		}
	})
	return said
}
