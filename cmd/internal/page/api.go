package page

import (
	_ "embed"
	"encoding/json"
	"errors"
	"io"
	"math"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// apiText is the documentation of the API, served as it is at /api. A test
// runs its examples.
//
//go:embed api.md
var apiText string

// mostEntry is the most that the body of one entry may say, in bytes.
const mostEntry = 64 << 10

func (s *site) apiRoutes(mux *http.ServeMux) {
	s.route(mux, "/api", methods{http.MethodGet: s.apiDoc})
	s.route(mux, "/api/entries", methods{http.MethodGet: s.api(s.listEntries), http.MethodPost: s.postEntry})
	s.route(mux, "/api/vessels", methods{http.MethodGet: s.api(s.listVessels)})
	s.route(mux, "/api/vessels/{name...}", methods{http.MethodGet: s.api(s.oneVessel)})
	s.route(mux, "/api/lots", methods{http.MethodGet: s.api(s.listLots)})
	s.route(mux, "/api/lots/{name...}", methods{http.MethodGet: s.api(s.oneLot)})
}

func (s *site) apiDoc(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/markdown; charset=utf-8")
	_, _ = io.WriteString(w, apiText)
}

// api serves what read finds in the book, as JSON.
//
// The shelf is asked before the book is, since it reads the book itself.
func (s *site) api(read func(r *http.Request, b *logbook.Book, vessels []string) (any, *Problem)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if s.Logbook == nil {
			refuse(w, &Problem{Status: http.StatusNotFound, Detail: "No logbook is kept here."})
			return
		}
		var vessels []string
		for _, v := range s.Source.Shelf().Vessels {
			vessels = append(vessels, v.Vessel.Name)
		}
		var out any
		var p *Problem
		s.Logbook.Read(func(b *logbook.Book) { out, p = read(r, b, vessels) })
		if p != nil {
			refuse(w, p)
			return
		}
		writeJSON(w, http.StatusOK, out)
	}
}

// Problem is an error of the API, after RFC 9457, with what an entry was
// refused or asked for.
type Problem struct {
	Type   string     `json:"type"`
	Title  string     `json:"title"`
	Status int        `json:"status"`
	Detail string     `json:"detail,omitempty"`
	Faults []APIFault `json:"faults,omitempty"`
	Doubts []APIDoubt `json:"doubts,omitempty"`
}

// APIFault is what is wrong with one field of an entry.
type APIFault struct {
	Field string `json:"field"` // empty: the entry as a whole
	Says  string `json:"says"`
}

// APIDoubt is a reason not to write an entry, which may be overruled.
type APIDoubt struct {
	Code string `json:"code"`
	Says string `json:"says"`
}

func refuse(w http.ResponseWriter, p *Problem) {
	if p.Type == "" {
		p.Type = "about:blank"
	}
	if p.Title == "" {
		p.Title = http.StatusText(p.Status)
	}
	w.Header().Set("Content-Type", "application/problem+json")
	writeJSON(w, p.Status, p)
}

// APIEntry is an entry as the API says it. Times are RFC 3339.
type APIEntry struct {
	ID          string         `json:"id,omitempty"`
	Vessel      string         `json:"vessel"`
	Kind        string         `json:"kind"`
	At          *time.Time     `json:"at,omitempty"` // when it happened; none: now
	Written     *time.Time     `json:"written_at,omitempty"`
	Who         string         `json:"who,omitempty"`
	Fields      map[string]any `json:"fields,omitempty"` // numbers, texts, true or false
	OverruledBy string         `json:"overruled_by,omitempty"`
	Room        string         `json:"room,omitempty"` // of what is sent: only to the page of that room
	Sentence    string         `json:"sentence,omitempty"`
	Corrected   []string       `json:"corrected,omitempty"` // who corrected it, and when
	Withdrawn   string         `json:"withdrawn,omitempty"` // who withdrew it, and when
}

// Entry returns the entry that a says, or what of it is none.
func (a APIEntry) Entry() (ingest.Entry, []APIFault) {
	e := ingest.Entry{Vessel: a.Vessel, Kind: ingest.Kind(a.Kind), Who: strings.TrimSpace(a.Who), Fields: map[string]ingest.Value{}}
	if a.At != nil {
		e.At = ingest.Stamp(*a.At)
	}
	var faults []APIFault
	for name, v := range a.Fields {
		if name == logbook.OverruledBy || name == "overruled" {
			faults = append(faults, APIFault{name, "is no field to be said: overruled_by stands beside the fields"})
			continue
		}
		switch v := v.(type) {
		case float64:
			e.Fields[name] = ingest.Num(v)
		case string:
			e.Fields[name] = ingest.Text(v)
		case bool:
			e.Fields[name] = ingest.Bool(v)
		default:
			faults = append(faults, APIFault{name, "must be a number, a text, true or false"})
		}
	}
	if !ingest.ValidVesselName(e.Vessel) && e.Kind != ingest.Correct && e.Kind != ingest.Withdraw {
		faults = append(faults, APIFault{"vessel", "must name a vessel"})
	}
	for _, name := range logbook.Unknown(e) {
		faults = append(faults, APIFault{name, "is nothing that " + strconv.Quote(a.Kind) + " says: known are " + known(e.Kind)})
	}
	return e, faults
}

// known lists the fields of a kind.
func known(k ingest.Kind) string {
	form, _ := logbook.FormOf(k)
	var names []string
	for _, f := range append(form.Fields, logbook.Common()...) {
		if f.Name != logbook.OverruledBy && f.Name != "overruled" { // said beside the fields, and by the logbook
			names = append(names, f.Name)
		}
	}
	return strings.Join(names, ", ")
}

// EntryOf is how the API says an entry.
func EntryOf(e ingest.Entry) APIEntry { return entryOf(e, e.ID()) }

// NotedOf is how the API says an entry as it now stands.
func NotedOf(n logbook.Noted) APIEntry {
	a := entryOf(n.Entry, n.ID)
	for _, c := range n.Corrected {
		a.Corrected = append(a.Corrected, byWhom(c))
	}
	if n.Withdrawn != nil {
		a.Withdrawn = byWhom(*n.Withdrawn)
	}
	return a
}

func entryOf(e ingest.Entry, id string) APIEntry {
	at, written := e.At, e.Written
	a := APIEntry{ID: id, Vessel: e.Vessel, Kind: string(e.Kind), At: &at, Written: &written, Who: e.Who, Sentence: logbook.Sentence(e),
		OverruledBy: e.Str(logbook.OverruledBy), Fields: map[string]any{}}
	for name, v := range e.Fields {
		switch v.Form {
		case 'f':
			a.Fields[name] = number64(v.Num)
		case 'b':
			a.Fields[name] = v.Yes
		default:
			a.Fields[name] = v.Text
		}
	}
	return a
}

// number64 is a number as JSON can say it: null where it is none.
func number64(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

func (s *site) postEntry(w http.ResponseWriter, r *http.Request) {
	if err := s.CrossOrigin.Check(r); err != nil {
		refuse(w, &Problem{Status: http.StatusForbidden, Detail: "This came from another site's page and was not done."})
		return
	}
	if s.Logbook == nil {
		refuse(w, &Problem{Status: http.StatusNotFound, Detail: "No logbook is kept here."})
		return
	}
	a, p := readEntry(w, r)
	if p != nil {
		refuse(w, p)
		return
	}
	e, faults := a.Entry()
	if room := s.Source.Shelf().Room; a.Room != "" && a.Room != room {
		faults = append(faults, APIFault{"room", "this is the logbook of " + strconv.Quote(room) + ", not of " + strconv.Quote(shorten(a.Room, 80))})
	}
	if len(faults) > 0 {
		refuse(w, unfit(faults))
		return
	}
	kept, doubts, err := s.Logbook.Write(r.Context(), e, strings.TrimSpace(a.OverruledBy))
	switch faults := FaultsOf(err); {
	case len(faults) > 0:
		refuse(w, unfit(faults))
	case err != nil:
		s.Log.Error("api: write an entry", "vessel", e.Vessel, "kind", e.Kind, "err", err)
		refuse(w, &Problem{Status: http.StatusInternalServerError, Detail: "The entry could not be written; nothing was kept. Try again."})
	case len(doubts) > 0:
		refuse(w, asked(doubts))
	default:
		writeJSON(w, http.StatusCreated, entryOf(kept, kept.ID()))
	}
}

// readEntry reads the body of a request.
func readEntry(w http.ResponseWriter, r *http.Request) (a APIEntry, p *Problem) {
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind != "application/json" {
		return a, &Problem{Status: http.StatusUnsupportedMediaType, Detail: "Say an entry as application/json."}
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, mostEntry))
	d.DisallowUnknownFields()
	err := d.Decode(&a)
	var large *http.MaxBytesError
	var wrong *json.UnmarshalTypeError
	switch {
	case errors.As(err, &wrong):
		return a, unfit([]APIFault{{wrong.Field, "cannot be a JSON " + wrong.Value}})
	case errors.As(err, &large):
		return a, &Problem{Status: http.StatusRequestEntityTooLarge, Detail: "An entry says at most 64 KiB."}
	case err != nil:
		return a, &Problem{Status: http.StatusBadRequest, Detail: "This is no entry: " + err.Error() + "."}
	case d.More():
		return a, &Problem{Status: http.StatusBadRequest, Detail: "One entry at a time."}
	}
	return a, nil
}

func unfit(faults []APIFault) *Problem {
	return &Problem{Type: "/api#faults", Title: "No such entry", Status: http.StatusUnprocessableEntity,
		Detail: "Nothing was written.", Faults: faults}
}

func asked(doubts []logbook.Doubt) *Problem {
	p := &Problem{Type: "/api#doubts", Title: "Asked first", Status: http.StatusConflict,
		Detail: "Nothing was written. To write it all the same, say in overruled_by who answers for it."}
	for _, d := range doubts {
		p.Doubts = append(p.Doubts, APIDoubt{d.Code, d.Says})
	}
	return p
}

// FaultsOf lists the faults of an entry that an error tells of, none if it
// tells of something else.
func FaultsOf(err error) []APIFault {
	if err == nil {
		return nil
	}
	if many, ok := err.(interface{ Unwrap() []error }); ok { //nolint:errorlint // the list itself is asked for, not what it wraps
		var out []APIFault
		for _, e := range many.Unwrap() {
			out = append(out, FaultsOf(e)...)
		}
		return out
	}
	var f *logbook.Fault
	if errors.As(err, &f) {
		return []APIFault{{f.Field, f.Says}}
	}
	return nil
}
