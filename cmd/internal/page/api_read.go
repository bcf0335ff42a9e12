package page

import (
	"cmp"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// mostListed is how many entries or lots one answer holds, the newest.
const mostListed = 1000

func (s *site) listEntries(r *http.Request, b *logbook.Book, _ []string) (any, *Problem) {
	q := r.URL.Query()
	from, p := moments(q.Get("from"), "from")
	to, p2 := moments(q.Get("to"), "to")
	if p = cmp.Or(p, p2); p != nil {
		return nil, p
	}
	noted := b.Entries(q.Get("vessel"), from, to)
	noted = noted[max(0, len(noted)-mostListed):]
	out := make([]APIEntry, 0, len(noted))
	for _, n := range noted {
		out = append(out, NotedOf(n))
	}
	return map[string]any{"entries": out}, nil
}

func byWhom(e ingest.Entry) string {
	return e.Written.UTC().Format(time.RFC3339) + " by " + cmp.Or(e.Who, "somebody")
}

func moments(s, name string) (time.Time, *Problem) {
	if s == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, &Problem{Status: http.StatusBadRequest, Detail: name + " " + strconv.Quote(shorten(s, 60)) + " is no time such as 2026-03-02T09:00:00Z."}
	}
	return t, nil
}

// apiVessel is what the logbook knows of one vessel. Times that have not come
// are left out.
type apiVessel struct {
	Vessel   string    `json:"vessel"`
	FilledL  any       `json:"filled_l"` // null unknown
	Lot      string    `json:"lot,omitempty"`
	Before   string    `json:"lot_before,omitempty"`
	Place    string    `json:"place,omitempty"`
	Residue  string    `json:"residue,omitempty"`
	Filled   time.Time `json:"filled_at,omitzero"`
	Bleached time.Time `json:"bleached_at,omitzero"`
	Neutral  time.Time `json:"neutralised_at,omitzero"`
	Tested   time.Time `json:"tested_at,omitzero"`
	Chlorine any       `json:"chlorine_mg_l,omitempty"` // that the test found
	Steps    []apiStep `json:"steps"`
}

type apiStep struct {
	Kind    string    `json:"kind"`
	Title   string    `json:"title"`
	Done    time.Time `json:"done_at,omitzero"`
	Skipped bool      `json:"skipped,omitempty"`
	Next    bool      `json:"next,omitempty"`
	Due     time.Time `json:"due_at,omitzero"`
}

func vesselOf(b *logbook.Book, name string) apiVessel {
	v := b.Vessel(name)
	out := apiVessel{Vessel: name, Lot: v.Lot, Before: v.Before, Place: v.Place, Residue: string(v.Water.Residue), Filled: v.Water.Filled,
		Bleached: v.Water.Bleached, Neutral: v.Water.Neutral, Tested: v.Water.Test.At}
	if v.Known {
		out.FilledL = number64(v.FilledL)
	}
	if !v.Water.Test.At.IsZero() {
		out.Chlorine = number64(v.Water.Test.MgPerL)
	}
	for _, step := range v.Cycle.Steps() {
		out.Steps = append(out.Steps, apiStep{string(step.Kind), step.Title, step.Done, step.Skipped, step.Next, step.Due})
	}
	return out
}

func (s *site) listVessels(_ *http.Request, b *logbook.Book, vessels []string) (any, *Problem) {
	out := []apiVessel{}
	for _, name := range vessels {
		out = append(out, vesselOf(b, name))
	}
	return map[string]any{"vessels": out}, nil
}

func (s *site) oneVessel(r *http.Request, b *logbook.Book, vessels []string) (any, *Problem) {
	name := cmp.Or(r.PathValue("name"), r.URL.Query().Get("name"))
	if !slices.Contains(vessels, name) {
		return nil, &Problem{Status: http.StatusNotFound, Detail: "No vessel of the name " + strconv.Quote(shorten(name, 80)) + " stands on this shelf."}
	}
	return vesselOf(b, name), nil
}

// apiLot is one lot.
type apiLot struct {
	Lot        string       `json:"lot"`
	Vessel     string       `json:"vessel"`
	Strain     string       `json:"strain,omitempty"`
	Medium     string       `json:"medium,omitempty"`
	Role       string       `json:"role"`
	Donor      string       `json:"donor,omitempty"`
	Generation int          `json:"generation"`
	Inoculated time.Time    `json:"inoculated_at"`
	InoculumL  float64      `json:"inoculum_l,omitempty"`
	Ended      time.Time    `json:"ended_at,omitzero"`
	Why        string       `json:"ended_because,omitempty"`
	HarvestedL float64      `json:"harvested_l"`
	Harvests   []apiDrawn   `json:"harvests,omitempty"`
	Doses      []apiDose    `json:"doses,omitempty"`
	Counts     []apiCount   `json:"counts,omitempty"`
	Kin        *logbook.Kin `json:"kin,omitempty"`
	Taints     []string     `json:"taints,omitempty"` // why it must not be a donor
	Overruled  []string     `json:"overruled,omitempty"`
	Unasked    []APIDoubt   `json:"unasked,omitempty"`
}

type apiDrawn struct {
	At       time.Time `json:"at"`
	VolumeL  float64   `json:"volume_l,omitempty"`
	Refilled bool      `json:"refilled,omitempty"`
	To       string    `json:"to,omitempty"`
}

type apiDose struct {
	At      time.Time          `json:"at"`
	Medium  string             `json:"medium,omitempty"`
	PartsML map[string]float64 `json:"parts_ml,omitempty"`
	Bottles map[string]string  `json:"bottles,omitempty"`
}

type apiCount struct {
	At         time.Time `json:"at"`
	CellsPerML any       `json:"cells_per_ml,omitempty"`
	OD         any       `json:"od,omitempty"`
}

func lotOf(l logbook.Lot) apiLot {
	out := apiLot{Lot: l.Name, Vessel: l.Vessel, Strain: l.Strain, Medium: l.Medium, Role: l.Role, Donor: l.Donor, Generation: l.Generation,
		Inoculated: l.Inoculated, InoculumL: l.InoculumL, Ended: l.Ended, Why: l.Why, HarvestedL: l.HarvestedL(), Overruled: l.Overruled}
	for _, h := range l.Harvests {
		out.Harvests = append(out.Harvests, apiDrawn(h))
	}
	for _, d := range l.Doses {
		out.Doses = append(out.Doses, apiDose{d.At, d.Medium, d.PartsML, d.Bottles})
	}
	for _, c := range l.Counts {
		out.Counts = append(out.Counts, apiCount{c.At, number64(c.CellsPerML), number64(c.OD)})
	}
	for _, d := range l.Unasked {
		out.Unasked = append(out.Unasked, APIDoubt{d.Code, d.Says})
	}
	return out
}

func (s *site) listLots(r *http.Request, b *logbook.Book, _ []string) (any, *Problem) {
	open := r.URL.Query().Get("open") == "true"
	lots := slices.DeleteFunc(b.Lots(), func(l logbook.Lot) bool { return open && !l.Ended.IsZero() })
	lots = lots[max(0, len(lots)-mostListed):]
	out := make([]apiLot, 0, len(lots))
	for _, l := range lots {
		out = append(out, lotOf(l))
	}
	return map[string]any{"lots": out}, nil
}

func (s *site) oneLot(r *http.Request, b *logbook.Book, _ []string) (any, *Problem) {
	name := cmp.Or(r.PathValue("name"), r.URL.Query().Get("name"))
	l, ok := b.Lot(name)
	if !ok {
		return nil, &Problem{Status: http.StatusNotFound, Detail: "No lot of the name " + strconv.Quote(shorten(name, 80)) + " is in the logbook."}
	}
	out := lotOf(l)
	kin := b.Kin(name)
	out.Kin = &kin
	for _, t := range b.Taints(name) {
		out.Taints = append(out.Taints, t.Lot+": "+t.Why+" at "+t.At.UTC().Format(time.RFC3339))
	}
	return out, nil
}
