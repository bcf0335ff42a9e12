package page

import (
	"net/http"
	"net/url"
	"strconv"
	"time"
	"unicode"

	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// preparePage is the checklist that makes a vessel ready.
type preparePage struct {
	head
	Vessel, Path string
	Lot          string // that grows in it, empty if none
	Steps        []stepView
	Residue      string
}

type stepView struct {
	Number   int
	Title    string
	Done     moment // ISO empty: not yet
	Skipped  bool
	Next     bool
	Path     string // to write it down, of the next one
	Waits    string // "until 09:10, 3 h 20 min left", empty where there is nothing to wait for
	Minutes  int    // of the waiting that are over, of Of
	Of       int
	Over     string // "waited long enough since 09:10"
	Amounts  []string
	Cautions []string
}

func (s *site) prepare(w http.ResponseWriter, r *http.Request) {
	v := s.viewer()
	name := r.URL.Query().Get("vessel")
	if _, ok := v.shelf.vessel(name); !ok || s.Logbook == nil {
		s.fail(w, r, http.StatusNotFound, "No vessel of the name "+strconv.Quote(shorten(name, 80))+" stands on this shelf.")
		return
	}
	var known logbook.Vessel
	s.Logbook.Read(func(b *logbook.Book) { known = b.Vessel(name) })
	p := preparePage{head: s.head(v, "Make ready "+isolate(name), "vessel"), Vessel: name, Path: vesselPath(name), Lot: known.Lot}
	if known.Water.Filled.IsZero() { // else it is in the water, and the list says what comes next
		p.Residue = string(known.Water.Residue)
	}
	p.RenewAfter = 60
	for i, step := range known.Cycle.Steps() {
		view := v.step(name, i, step)
		if s.Planner != nil && step.Done.IsZero() && !step.Skipped {
			view.Amounts, view.Cautions = s.Planner.Amounts(name, step.Kind)
		}
		if !view.Next { // they stand where they are needed
			view.Cautions = nil
		}
		p.Steps = append(p.Steps, view)
	}
	s.render(w, r, http.StatusOK, "prepare", p)
}

func (v viewer) step(vessel string, i int, step logbook.Step) stepView {
	out := stepView{Number: i + 1, Title: step.Title, Skipped: step.Skipped, Next: step.Next}
	if !step.Done.IsZero() {
		out.Done = v.clock.at(step.Done)
	}
	if step.Next {
		out.Path = entryPath(vessel, step.Kind) + "&back=prepare"
		out.Waits, out.Over = v.waits(step.Due)
		if out.Waits != "" {
			out.Minutes, out.Of = int(v.clock.now.Sub(step.From).Minutes()), int(step.Due.Sub(step.From).Minutes())
		}
	}
	return out
}

// waits says how long there is to wait until due, or since when there is not.
func (v viewer) waits(due time.Time) (waits, over string) {
	switch left := due.Sub(v.clock.now); {
	case due.IsZero():
		return "", ""
	case left > 0:
		return "wait until " + v.clock.at(due).Text + ", " + span(left) + " left", ""
	}
	return "", "waited long enough since " + v.clock.at(due).Text
}

// nextStep is what a vessel without a lot waits for, in a line of the shelf.
func (s *site) nextStep(v viewer, name string) (text, path string) {
	if s.Logbook == nil {
		return "", ""
	}
	var known logbook.Vessel
	s.Logbook.Read(func(b *logbook.Book) { known = b.Vessel(name) })
	if known.Lot != "" {
		return "", ""
	}
	for _, step := range known.Cycle.Steps() {
		if !step.Next {
			continue
		}
		waits, over := v.waits(step.Due)
		text = "Next: " + lowerFirst(step.Title)
		if w := known.Water; !w.Bleached.IsZero() && w.Neutral.IsZero() {
			text = "Bleach stands in it. " + text
		}
		switch {
		case waits != "":
			text += "; " + waits
		case over != "":
			text += "; " + over
		}
		return text, "/prepare?vessel=" + url.QueryEscape(name)
	}
	return "", ""
}

// lowerFirst lets a sentence go on another.
func lowerFirst(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	r[0] = unicode.ToLower(r[0])
	return string(r)
}
