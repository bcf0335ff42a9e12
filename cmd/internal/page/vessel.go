package page

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// vesselPage is one vessel.
type vesselPage struct {
	head
	Card     card
	Lot      string
	Medium   string
	Facts    []fact
	Charts   []chart
	Views    []viewLink
	Entries  []entryView
	Caution  bool
	First    []kindLink // what is written down now
	Rest     []kindLink // all else that can be
	Prepare  string     // address of the checklist, empty while a lot grows
	Next     string     // its next step
	Label    string     // address of the label
	Notices  []string   // what speaks against the lot
	Written  string     // what was just written down
	Alarms   []alarmView
	Findings []findingView
	Trouble  []string
}

type fact struct{ Name, Value, Path string }

type viewLink struct {
	Path, Text string
	Here       bool
}

type entryView struct {
	Number  string
	At      moment
	Kind    string
	Details string
	Who     string
	Written string // when it was written, if that was much later
	ID      string // by which it is corrected, empty where there is no logbook
	Amended string // who corrected it
	Gone    string // who withdrew it
	Doubts  string // in spite of which it was written
	Correct string // addresses of the forms
	Unwrite string
}

const (
	narrowChart   = 358 // a phone of 390 without its edges
	wideChart     = 860
	chartMost     = 400 // points a line is drawn with
	entriesShown  = 100
	historyWithin = 4 * time.Second // a page that comes late is no page
	lookBack      = 7 * 24 * time.Hour
	longestLot    = 120 * 24 * time.Hour
	beforeLot     = 6 * time.Hour // the standing medium shows the blank
	lateWriting   = 5 * time.Minute
)

// dayViews are the lengths of time a vessel can be looked at, in days; 0 is
// the lot so far.
var dayViews = []int{0, 1, 3, 7}

func (s *site) vesselPage(ctx context.Context, v viewer, view VesselView, days int) vesselPage {
	e := view.Estimate
	p := vesselPage{head: s.head(v, isolate(view.Vessel.Name), "vessel"), Card: v.card(view), Lot: e.Lot, Medium: e.Medium, Facts: v.facts(view)}
	p.Card.Drawing.ID = "g"
	r := s.record(ctx, v, view, days)
	p.Trouble = r.trouble
	p.Charts = []chart{drawChart("narrow", narrowChart, view, r, v.clock), drawChart("wide", wideChart, view, r, v.clock)}
	for _, d := range dayViews {
		p.Views = append(p.Views, dayView(p.Card.Path, d, d == days))
	}
	p.Entries = v.entries(r)
	for _, entry := range r.entries {
		p.Caution = p.Caution || slices.Contains(cautioned, entry.Kind)
	}
	s.book(&p, v, view)
	p.Notices = s.taintOf(v, view)
	slices.Reverse(p.Entries)
	for _, a := range openAlarms(view.Alarms) {
		p.Alarms = append(p.Alarms, v.alarm(a))
	}
	for _, n := range view.Notices {
		p.Findings = append(p.Findings, v.finding(n))
	}
	return p
}

// cautioned are the kinds of entry that have to do with bleach, thiosulfate or
// acid: the usual cautions stand beside them.
var cautioned = []ingest.Kind{ingest.Chlorinate, ingest.Neutralise, ingest.ChlorineTest, ingest.AcidRinse}

func dayView(path string, days int, here bool) viewLink {
	l := viewLink{Path: path, Text: "lot so far", Here: here}
	if days > 0 {
		sep := "?"
		if strings.Contains(path, "?") {
			sep = "&"
		}
		l.Path, l.Text = path+sep+"days="+strconv.Itoa(days), count(days, "day")
	}
	return l
}

// facts are what else is known of a lot, in words.
func (v viewer) facts(s VesselView) []fact {
	e := s.Estimate
	or := func(text string) string {
		if text == "" {
			return notKnown
		}
		return text
	}
	blank := notKnown
	if e.Blank.Known() && e.BlankLearnt {
		blank = figure(e.Blank.Likely)
	} else if e.Blank.Known() {
		blank = figure(e.Blank.Likely) + ", assumed"
	}
	facts := []fact{{Name: "Lot", Value: or(isolateOrEmpty(e.Lot))}, {Name: "Strain", Value: or(isolateOrEmpty(e.Strain))},
		{Name: "Medium", Value: or(isolateOrEmpty(e.Medium))}, {Name: "Inoculated", Value: v.clock.at(e.Since).Text},
		{Name: "Growth rate", Value: rate(e.Growth)}, {Name: "Last two hours", Value: rate(e.Recent)}, {Name: "Blank", Value: blank}}
	if litres := s.Vessel.VolumeL; litres > 0 {
		volume := plain(litres) + " L"
		if s.FilledL > 0 {
			volume = plain(s.FilledL) + " of " + volume
		}
		facts = append(facts, fact{Name: "Volume", Value: volume})
	}
	return facts
}

func isolateOrEmpty(s string) string {
	if s == "" {
		return ""
	}
	return isolate(s)
}

// rate writes a specific growth rate, 1/d, with its interval.
func rate(g analysis.Interval) string {
	if !g.Known() || !finite(g.Likely) {
		return notKnown
	}
	text := figure(g.Likely) + " per day"
	if finite(g.Low) && finite(g.High) {
		text += " (" + figure(g.Low) + " to " + figure(g.High) + ")"
	}
	return text
}

// record reads the history of a vessel. What cannot be read is named; the rest
// of the page stands.
func (s *site) record(ctx context.Context, v viewer, view VesselView, days int) record {
	r := record{to: v.clock.now, around: map[ingest.Quantity][]analysis.Point{}}
	r.from = beginning(v, view, days)
	r.ahead = ahead(view.Expected, r.from, r.to)
	if s.Logbook != nil {
		s.Logbook.Read(func(b *logbook.Book) { r.noted = b.Entries(view.Vessel.Name, r.from, time.Time{}) })
		r.noted = r.noted[max(0, len(r.noted)-entriesShown):]
		for _, n := range r.noted {
			if n.Withdrawn == nil {
				r.entries = append(r.entries, n.Entry)
			}
		}
	}
	if s.History == nil {
		r.density = pointsWithin(view.Trail, r.from, r.to)
		return r
	}
	ctx, cancel := context.WithTimeout(ctx, historyWithin)
	defer cancel()
	name := view.Vessel.Name
	failed := func(what string, err error) {
		if err != nil {
			s.Log.Error("page: read history", "vessel", name, "what", what, "err", err)
			r.trouble = append(r.trouble, sentence(what+" could not be read from disk"))
		}
	}
	var err error
	r.density, err = s.History.Density(ctx, name, r.from, r.to, chartMost)
	failed("density", err)
	for _, q := range []ingest.Quantity{unit.Light, unit.Temperature, unit.Airflow} {
		r.around[q], err = s.History.Readings(ctx, name, q, r.from, r.to, chartMost)
		failed(q.String(), err)
	}
	if s.Logbook != nil {
		return r
	}
	r.entries, err = s.History.Entries(ctx, name, r.from, r.to)
	failed("the logbook", err)
	if n := len(r.entries); n > entriesShown {
		r.entries = r.entries[n-entriesShown:]
	}
	return r
}

// beginning is where the record starts: a little before the lot, or some days
// back.
func beginning(v viewer, view VesselView, days int) time.Time {
	now, since := v.clock.now, view.Estimate.Since
	switch {
	case days > 0:
		return now.AddDate(0, 0, -days)
	case since.IsZero() || since.After(now):
		return now.Add(-lookBack)
	case now.Sub(since) > longestLot:
		return now.Add(-longestLot)
	}
	return since.Add(-beforeLot)
}

// ahead is how far past now the expected course is shown: a day at most, and
// no more than a fifth of what has been.
func ahead(band []CourseBand, from, now time.Time) time.Time {
	if len(band) == 0 || !band[len(band)-1].At.After(now) {
		return time.Time{}
	}
	to := now.Add(min(24*time.Hour, now.Sub(from)/5))
	if last := band[len(band)-1].At; last.Before(to) {
		return last
	}
	return to
}

func pointsWithin(points []analysis.Point, from, to time.Time) []analysis.Point {
	var out []analysis.Point
	for _, p := range points {
		if !p.At.Before(from) && !p.At.After(to) {
			out = append(out, p)
		}
	}
	return out
}

func number(i int) string { return strconv.Itoa(i + 1) }

func (v viewer) entry(i int, e ingest.Entry) entryView {
	w := entryView{Number: number(i), At: v.clock.at(e.At), Kind: doneWord(e), Details: isolate(legible([]byte(details(e)))), Who: e.Who}
	if d := e.Written.Sub(e.At); d > lateWriting {
		w.Written = "written " + span(d) + " later"
	}
	return w
}

// spaced writes a word of the code for people.
func spaced(s string) string { return strings.ReplaceAll(s, "_", " ") }

func entryWords(e ingest.Entry) string {
	return legible([]byte(logbook.Sentence(e)))
}

// doneWord is what was done, in a word or two.
func doneWord(e ingest.Entry) string {
	if form, ok := logbook.FormOf(e.Kind); ok {
		return form.Title
	}
	return spaced(string(e.Kind))
}

// details are what an entry tells besides what was done.
func details(e ingest.Entry) string {
	return strings.TrimPrefix(strings.TrimPrefix(logbook.Sentence(e), doneWord(e)), ": ")
}
