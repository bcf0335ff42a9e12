package page

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

func (s *site) bookRoutes(mux *http.ServeMux) {
	s.route(mux, "/entry", methods{http.MethodGet: s.entryForm, http.MethodPost: s.writeEntry})
	s.route(mux, "/prepare", methods{http.MethodGet: s.prepare})
}

// entryPage is the form of one entry.
type entryPage struct {
	head
	Vessel, Path string
	Kind         string // whose fields are asked for
	Asks         string // what the form does: the title of the kind, or that of a correction
	About        string // id of the entry that is corrected or withdrawn, empty for a new one
	Was          string // what that entry says now
	Inputs       []input
	Back         string // prepare: to the checklist afterwards
	When, At     string // when it happened: now, 10, 60 or at; At is a time as it was typed
	Faults       []string
	Doubts       []string
	Seen         string // codes of the doubts that stand on the page
	Series       []seriesRow
	Amounts      []string
	Cautions     []string
	Note         string // what to know before
}

// input is one field of the form.
type input struct {
	Name, Title, Value string
	Type               string // number, text, choice or yes
	Choices            []string
	Known              []string // that were said before, to choose from
	Fault              string
	Must               bool
}

// kinds that are offered first while a lot grows.
var growingKinds = []ingest.Kind{ingest.Harvest, ingest.Look, ingest.Count, ingest.Sample, ingest.TopUp, ingest.Remark}

// links to the forms of some kinds.
type kindLink struct{ Path, Title string }

func entryPath(vessel string, k ingest.Kind) string {
	return "/entry?" + url.Values{"vessel": {vessel}, "kind": {string(k)}}.Encode()
}

// offers lists the kinds that can be written of a vessel: those that fit now,
// and all others.
func offers(v logbook.Vessel) (first, rest []kindLink) {
	fit := growingKinds
	if v.Lot == "" {
		fit = nil
		for _, s := range v.Cycle.Steps() {
			if s.Next {
				fit = append(fit, s.Kind)
			}
		}
		fit = append(fit, ingest.Fill, ingest.Inoculate, ingest.Remark)
	}
	for _, k := range fit {
		if l := linkTo(v.Name, k); !slices.Contains(first, l) {
			first = append(first, l)
		}
	}
	for _, k := range ingest.Kinds {
		l := linkTo(v.Name, k)
		if k != ingest.Correct && k != ingest.Withdraw && !slices.Contains(first, l) {
			rest = append(rest, l)
		}
	}
	return first, rest
}

func linkTo(vessel string, k ingest.Kind) kindLink {
	form, _ := logbook.FormOf(k)
	return kindLink{entryPath(vessel, k), form.Title}
}

// asked is what a request for a form speaks of.
type askedFor struct {
	vessel string
	kind   ingest.Kind
	about  string // id of the entry that is corrected or withdrawn
	form   logbook.Form
	noted  logbook.Noted // that entry
}

// askedFor reads what a form is wanted for; where it makes no sense, the
// request is answered and ok is false.
func (s *site) askedFor(w http.ResponseWriter, r *http.Request, v viewer, q url.Values) (a askedFor, ok bool) {
	a = askedFor{vessel: q.Get("vessel"), kind: ingest.Kind(q.Get("kind")), about: q.Get("entry")}
	if s.Logbook == nil {
		s.fail(w, r, http.StatusNotFound, "No logbook is kept here.")
		return a, false
	}
	if _, known := v.shelf.vessel(a.vessel); !known {
		s.fail(w, r, http.StatusNotFound, "No vessel of the name "+strconv.Quote(shorten(a.vessel, 80))+" stands on this shelf.")
		return a, false
	}
	if a.about != "" {
		var err error
		s.Logbook.Read(func(b *logbook.Book) { a.noted, err = b.Find(a.about) })
		if err != nil || a.noted.Vessel != a.vessel {
			s.fail(w, r, http.StatusNotFound, "There is no such entry about this vessel.")
			return a, false
		}
	}
	form := a.kind
	if a.kind == ingest.Correct {
		form = a.noted.Kind
	}
	a.form, ok = logbook.FormOf(form)
	if !ok || (a.kind == ingest.Correct || a.kind == ingest.Withdraw) && a.about == "" {
		s.fail(w, r, http.StatusNotFound, "There is nothing of that kind to write down.")
		return a, false
	}
	return a, true
}

func (s *site) entryForm(w http.ResponseWriter, r *http.Request) {
	v := s.viewer()
	a, ok := s.askedFor(w, r, v, r.URL.Query())
	if !ok {
		return
	}
	p := s.entryPage(v, a)
	p.Who, p.Back = whoBefore(r), r.URL.Query().Get("back")
	if a.kind == ingest.Correct {
		p.fill(a.noted.Entry)
		p.When, p.At = "at", v.local(a.noted.At)
	}
	s.render(w, r, http.StatusOK, "entry", p)
}

// local writes a time as the form takes it back.
func (v viewer) local(t time.Time) string { return t.In(v.clock.zone).Format("2006-01-02 15:04") }

// entryPage is the empty form.
func (s *site) entryPage(v viewer, a askedFor) entryPage {
	p := entryPage{head: s.head(v, a.form.Title+" · "+isolate(a.vessel), "vessel"), Vessel: a.vessel, Path: vesselPath(a.vessel),
		Kind: string(a.kind), Asks: a.form.Title, About: a.about, When: "now"}
	p.RenewAfter = 0
	switch a.kind {
	case ingest.Correct:
		p.Asks, p.Was = "Correct", logbook.Sentence(a.noted.Entry)
	case ingest.Withdraw:
		p.Asks, p.Was = "Withdraw", logbook.Sentence(a.noted.Entry)
	}
	known := s.saidBefore(a.vessel)
	for _, f := range inOrder(a.form) {
		if f.Name == "entry" || f.Name == logbook.OverruledBy || f.Name == "overruled" || f.Name == "lot" && a.kind != ingest.Inoculate && a.kind != ingest.Correct {
			continue
		}
		p.Inputs = append(p.Inputs, inputOf(f, known[f.Name]))
	}
	if a.kind == ingest.FitSensor {
		p.fitting(v)
	}
	if s.Planner != nil && a.about == "" {
		p.Amounts, p.Cautions = s.Planner.Amounts(a.vessel, a.kind)
	}
	p.Note = s.noteOf(v, a)
	return p
}

// inOrder are the fields of a form as they are asked for: the name of a lot
// that begins comes first.
func inOrder(form logbook.Form) []logbook.Field {
	fields := slices.Concat(form.Fields, logbook.Common())
	if form.Kind == ingest.Inoculate {
		slices.SortStableFunc(fields, func(a, b logbook.Field) int {
			return cmp.Compare(order(a.Name), order(b.Name))
		})
	}
	return fields
}

func order(field string) int {
	if field == "lot" {
		return 0
	}
	return 1
}

// seriesRow is one step of a dilution series as it is typed.
type seriesRow struct{ Number, Share, OD string }

// usualShares are those of a dilution series that halves each time.
var usualShares = []string{"1", "0.5", "0.25", "0.125", "0.0625"}

// fitting makes the form of fitting a probe ready: what it reads now is the
// blank, where medium alone stands in the vessel.
func (p *entryPage) fitting(v viewer) {
	p.Inputs = slices.DeleteFunc(p.Inputs, func(in input) bool { return in.Name == "series" })
	for i, share := range usualShares {
		p.Series = append(p.Series, seriesRow{Number: strconv.Itoa(i + 1), Share: share})
	}
	view, _ := v.shelf.vessel(p.Vessel)
	newest, ok := view.Latest[ingest.OD]
	if !ok || !finite(newest.Value) || view.Estimate.Lot != "" {
		return
	}
	for i := range p.Inputs {
		if p.Inputs[i].Name == "blank_od" {
			p.Inputs[i].Value = plain(newest.Value)
		}
	}
}

// noteOf is what to know before an entry of that kind.
func (s *site) noteOf(v viewer, a askedFor) string {
	switch a.kind {
	case ingest.FitSensor:
		view, _ := v.shelf.vessel(a.vessel)
		note := "A blank is read in standing medium, before the inoculum. Then, if the probe is new, a dilution series: culture and medium mixed in known shares, each with what the probe reads."
		if p, ok := view.Latest[ingest.OD]; ok && finite(p.Value) {
			note += " The probe reads " + figure(p.Value) + " now (" + v.clock.at(p.At).Text + ")."
		}
		if view.Estimate.Lot != "" {
			note += " A lot grows in this vessel: what the probe reads now is no blank."
		}
		return note
	case ingest.ChlorineTest:
		return "Write 0 where the test shows none. A strip shows from about 0.5 mg/L only; DPD shows less."
	case ingest.Inoculate:
		return "As much comes out as goes in. The air of both vessels is shut meanwhile. The donor is a lot, or the vessel it stands in."
	}
	return ""
}

func inputOf(f logbook.Field, known []string) input {
	in := input{Name: f.Name, Title: f.Title, Type: "text", Must: f.Must, Known: known}
	switch {
	case f.Form == 'f':
		in.Type = "number"
	case f.Form == 'b':
		in.Type = "yes"
	case len(f.Words) > 0:
		in.Type, in.Choices = "choice", f.Words
	}
	return in
}

// saidBefore lists what the texts of the form have been before.
func (s *site) saidBefore(vessel string) map[string][]string {
	out := map[string][]string{}
	add := func(field, text string) {
		if text != "" && !slices.Contains(out[field], text) && len(out[field]) < 40 {
			out[field] = append(out[field], text)
		}
	}
	s.Logbook.Read(func(b *logbook.Book) {
		lots := b.Lots()
		slices.Reverse(lots)
		for _, l := range lots {
			add("strain", l.Strain)
			add("medium", l.Medium)
			if l.Ended.IsZero() && l.Vessel != vessel {
				add("donor", l.Name)
			}
			for _, h := range l.Harvests {
				add("tank", h.To)
			}
		}
	})
	return out
}

// fill puts what an entry says into the form.
func (p *entryPage) fill(e ingest.Entry) {
	for i := range p.Inputs {
		v, said := e.Fields[p.Inputs[i].Name]
		switch {
		case said && v.Form == 'b' && v.Yes:
			p.Inputs[i].Value = "yes"
		case said && v.Form != 'b':
			p.Inputs[i].Value = v.String()
		}
	}
}
