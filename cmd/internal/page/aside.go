package page

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/ingest"
)

// unknownView is a name that sends and stands on no shelf.
type unknownView struct {
	Name     string
	Readings int
	Last     moment
	For      string
	Hint     string // what to write into the configuration
}

func (v viewer) unknown() []unknownView {
	var out []unknownView
	for _, u := range v.shelf.Unknown {
		out = append(out, unknownView{Name: u.Name, Readings: u.Readings, Last: v.clock.at(u.Last), For: v.clock.since(u.Last),
			Hint: "vessels:\n  - name: " + strconv.Quote(u.Name) + "\n    kind: carboy\n    volume_l: 20\n"})
	}
	return out
}

// asidePage shows the input that could not be used.
type asidePage struct {
	head
	Total   int
	Reasons []reasonView
	Newest  []refusedView
	Unknown []unknownView
}

type reasonView struct {
	Name, Meaning string
	Count         int
}

type refusedView struct {
	Reason, Detail, Topic, Place, Input, Cut string
	Arrived                                  moment
}

// meanings says what each reason is about, for whoever has to mend it.
var meanings = map[ingest.Reason]string{
	ingest.Unreadable:   "not line protocol, not JSON, not a number",
	ingest.NotUTF8:      "bytes that are no text",
	ingest.TooLarge:     "longer than a message may be",
	ingest.UnknownField: "a quantity or unit that nobody here knows",
	ingest.BadValue:     "not a finite number where one belongs",
	ingest.BadTime:      "a time too far from now: look at the sensor's clock",
	ingest.BadVessel:    "no vessel named, or a name that cannot be one",
	ingest.BadEntry:     "a logbook entry of no known kind",
	ingest.TooMany:      "more unknown vessels than are kept",
}

func (s *site) asidePage(v viewer) asidePage {
	p := asidePage{head: s.head(v, "Set aside", "set-aside"), Total: v.shelf.SetAside.Total, Unknown: v.unknown()}
	for reason, n := range v.shelf.SetAside.ByReason {
		if n > 0 {
			p.Reasons = append(p.Reasons, reasonView{Name: spaced(string(reason)), Meaning: meanings[reason], Count: n})
		}
	}
	slices.SortFunc(p.Reasons, func(a, b reasonView) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Name, b.Name))
	})
	for _, r := range v.shelf.SetAside.Newest {
		p.Newest = append(p.Newest, v.refused(r))
	}
	return p
}

func (v viewer) refused(r ingest.Refused) refusedView {
	w := refusedView{Reason: spaced(string(r.Reason)), Detail: sentence(r.Detail), Topic: legible([]byte(r.Topic)),
		Input: legible(r.Input), Arrived: v.clock.at(r.Arrived)}
	switch {
	case r.Line > 0 && r.Column > 0:
		w.Place = fmt.Sprintf("line %d, column %d", r.Line, r.Column)
	case r.Line > 0:
		w.Place = fmt.Sprintf("line %d", r.Line)
	}
	if r.Size > len(r.Input) {
		w.Cut = fmt.Sprintf("The first %d of %d bytes.", len(r.Input), r.Size)
	}
	return w
}

// alarmsPage lists alarms and calls.
type alarmsPage struct {
	head
	OpenAlarms []alarmView
	Past       []alarmView
	Calls      []callView
}

func (s *site) alarmsPage(v viewer) alarmsPage {
	p := alarmsPage{head: s.head(v, "Alarms", "alarms")}
	p.RenewAfter = 60
	for _, a := range openAlarms(v.shelf.Alarms) {
		p.OpenAlarms = append(p.OpenAlarms, v.alarm(a))
	}
	past := slices.Clone(v.shelf.Alarms)
	slices.SortStableFunc(past, func(a, b alerts.Alarm) int { return b.Raised.Compare(a.Raised) })
	for _, a := range past {
		if !open(a) && a.ID != "" {
			p.Past = append(p.Past, v.alarm(a))
		}
	}
	for _, c := range v.shelf.Calls {
		p.Calls = append(p.Calls, v.call(c))
	}
	return p
}
