package page

import (
	"cmp"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

func (s *site) writeEntry(w http.ResponseWriter, r *http.Request) {
	if err := s.CrossOrigin.Check(r); err != nil {
		s.fail(w, r, http.StatusForbidden, "This came from another site's page and was not done.")
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, mostEntry)
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, "The form could not be read; go back and try again.")
		return
	}
	v := s.viewer()
	a, ok := s.askedFor(w, r, v, r.PostForm)
	if !ok {
		return
	}
	p := s.entryPage(v, a)
	e := p.read(r.PostForm, v, a)
	p.Who, p.Back = e.Who, r.PostForm.Get("back")
	overrule := ""
	if r.PostForm.Get("overrule") != "" {
		if overrule = e.Who; overrule == "" {
			p.Faults = append(p.Faults, "Who answers for it must be said.")
		}
	}
	if p.faulty() {
		s.render(w, r, http.StatusUnprocessableEntity, "entry", p)
		return
	}
	// Only what stood on the page can be answered for: what has come to it since
	// is asked first.
	kept, doubts, err := s.Logbook.Write(r.Context(), e, "")
	if err == nil && len(doubts) > 0 && overrule != "" && seen(doubts, r.PostForm.Get("seen")) {
		kept, doubts, err = s.Logbook.Write(r.Context(), e, overrule)
	}
	if status := p.told(doubts, err); status != 0 {
		if status == http.StatusInternalServerError {
			s.Log.Error("page: write an entry", "vessel", e.Vessel, "kind", e.Kind, "err", err)
		}
		s.render(w, r, status, "entry", p)
		return
	}
	remember(w, r, e.Who)
	if p.Back == "prepare" {
		http.Redirect(w, r, "/prepare?vessel="+url.QueryEscape(p.Vessel), http.StatusSeeOther)
		return
	}
	to := p.Path
	sep := "?"
	if strings.Contains(to, "?") {
		sep = "&"
	}
	http.Redirect(w, r, to+sep+"written="+cmp.Or(a.noted.ID, kept.ID()), http.StatusSeeOther)
}

// seen reports whether every doubt is among the codes that were shown.
func seen(doubts []logbook.Doubt, shown string) bool {
	codes := strings.Fields(shown)
	return !slices.ContainsFunc(doubts, func(d logbook.Doubt) bool { return !slices.Contains(codes, d.Code) })
}

// remember keeps on the phone who wrote last.
func remember(w http.ResponseWriter, r *http.Request, who string) {
	if who == "" {
		return
	}
	http.SetCookie(w, &http.Cookie{Name: whoCookie, Value: url.QueryEscape(who), Path: "/", MaxAge: whoKept,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil})
}

// read reads the form into an entry; what is wrong stands in p, and all that
// was typed too.
func (p *entryPage) read(q url.Values, v viewer, a askedFor) ingest.Entry {
	e := ingest.Entry{Vessel: a.vessel, Kind: a.kind, Who: shorten(strings.TrimSpace(q.Get("who")), longestWho), Fields: map[string]ingest.Value{}}
	if a.about != "" {
		e.Fields["entry"] = ingest.Text(a.noted.ID)
	}
	for i := range p.Inputs {
		p.Inputs[i].read(q, a, &e)
	}
	p.When, p.At = q.Get("when"), strings.TrimSpace(q.Get("at"))
	at, err := happened(p.When, p.At, v)
	if err != nil {
		p.Faults = append(p.Faults, sentence(err.Error()))
	}
	e.At = at
	if err == nil { // asked about or mended, it happened when it was said to have
		p.When, p.At = "at", v.local(at)
	}
	p.series(q, &e)
	if a.kind == ingest.Withdraw {
		e.At = time.Time{} // that of its entry
	}
	return e
}

// series reads the rows of a dilution series; those without an od were not
// measured.
func (p *entryPage) series(q url.Values, e *ingest.Entry) {
	var steps []string
	for i := range p.Series {
		row := &p.Series[i]
		row.Share, row.OD = strings.TrimSpace(q.Get("share_"+row.Number)), strings.TrimSpace(q.Get("od_"+row.Number))
		if row.OD != "" {
			steps = append(steps, decimal(row.Share)+":"+decimal(row.OD))
		}
	}
	if len(steps) == 0 {
		return
	}
	text := strings.Join(steps, ", ")
	if _, err := logbook.Series(text); err != nil {
		p.Faults = append(p.Faults, sentence(err.Error()))
		return
	}
	e.Fields["series"] = ingest.Text(text)
}

func decimal(s string) string { return strings.Replace(s, ",", ".", 1) }

// read reads one field, and notes what is wrong with it.
func (in *input) read(q url.Values, a askedFor, e *ingest.Entry) {
	in.Value = strings.TrimSpace(q.Get("f_" + in.Name))
	before := a.noted.Fields[in.Name]
	switch {
	case in.Type == "yes":
		if yes := in.Value != ""; yes || a.kind == ingest.Correct && before.Yes {
			e.Fields[in.Name] = ingest.Bool(yes)
		}
		return
	case in.Value == "" && a.kind == ingest.Correct && before.Form != 0: // it was not said after all
		e.Fields[in.Name] = ingest.Text("")
		return
	case in.Value == "":
		return
	}
	for _, f := range slices.Concat(a.form.Fields, logbook.Common()) {
		if f.Name != in.Name {
			continue
		}
		v, err := f.ReadValue(in.Value)
		if err != nil {
			in.Fault = sentence(err.Error())
			return
		}
		if a.kind != ingest.Correct || v != before {
			e.Fields[in.Name] = v
		}
		return
	}
}

// happened is when what is written down was done.
func happened(when, at string, v viewer) (time.Time, error) {
	if at != "" { // whoever typed a time means it, whatever else is marked
		return logbook.Moment(at, v.clock.now, v.clock.zone)
	}
	switch when {
	case "", "now":
		return ingest.Stamp(v.clock.now), nil
	case "10":
		return ingest.Stamp(v.clock.now.Add(-10 * time.Minute)), nil
	case "60":
		return ingest.Stamp(v.clock.now.Add(-time.Hour)), nil
	}
	return time.Time{}, errors.New("say at what time, such as 17:40")
}

func (p *entryPage) faulty() bool {
	return len(p.Faults) > 0 || slices.ContainsFunc(p.Inputs, func(in input) bool { return in.Fault != "" })
}

// told puts what the logbook said into the form; 0 if the entry is written.
func (p *entryPage) told(doubts []logbook.Doubt, err error) int {
	faults := FaultsOf(err)
	for _, f := range faults {
		i := slices.IndexFunc(p.Inputs, func(in input) bool { return in.Name == f.Field })
		if i < 0 {
			p.Faults = append(p.Faults, sentence(cmp.Or(f.Field, "entry")+": "+f.Says))
			continue
		}
		p.Inputs[i].Fault = sentence(f.Says)
	}
	for _, d := range doubts {
		p.Doubts = append(p.Doubts, d.Says)
		p.Seen += d.Code + " "
	}
	switch {
	case len(faults) > 0:
		return http.StatusUnprocessableEntity
	case err != nil:
		p.Faults = append(p.Faults, "The entry could not be written; nothing was kept. Try again.")
		return http.StatusInternalServerError
	case len(doubts) > 0:
		return http.StatusConflict
	}
	return 0
}
