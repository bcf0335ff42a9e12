package page

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
)

// alarmView is an alarm in words.
type alarmView struct {
	Vessel, VesselPath string
	Class              string // of the finding, such as "airflow"
	Mark               string // how it looks: "high", "medium", "low", "seen", "over", "rest"
	State              string
	Priority           string
	What               string // a sentence
	Cause, First       string // sentences, may be empty
	Normal             string // "Light and temperature are as they should be."
	Since, Raised      moment
	For                string // how long ago it began
	Ended              moment // ISO empty while it lasts
	Explained          string // the entry with which it went away
	Acked              string // "acknowledged 02:20 CET by mo"
	AckPath            string // where to acknowledge, empty where there is nothing to
	Call               string // how far the call that told of it has come
	Sure               string // "93 %", empty if the judge does not say
	Evidence           []evidenceView
}

// open reports whether the alarm still asks something of a person.
func open(a alerts.Alarm) bool { return a.Active() || a.State == alerts.Returned }

// needy reports whether nobody has acknowledged the alarm.
func needy(a alerts.Alarm) bool {
	return a.State == alerts.Unacknowledged || a.State == alerts.Returned
}

// urgency puts alarms in the order in which a person should meet them.
func urgency(a, b alerts.Alarm) int {
	return cmp.Or(
		cmp.Compare(slices.Index(stateOrder, a.State), slices.Index(stateOrder, b.State)),
		cmp.Compare(slices.Index(priorityOrder, a.Priority), slices.Index(priorityOrder, b.Priority)),
		b.Raised.Compare(a.Raised),
		cmp.Compare(a.Vessel, b.Vessel),
		cmp.Compare(a.ID, b.ID),
	)
}

var (
	stateOrder = []alerts.State{alerts.Unacknowledged, alerts.Returned, alerts.Acknowledged,
		alerts.Shelved, alerts.Suppressed, alerts.OutOfService, alerts.Normal}
	priorityOrder = []alerts.Priority{alerts.High, alerts.Medium, alerts.Low}
)

// openAlarms returns the open alarms, most urgent first.
func openAlarms(all []alerts.Alarm) []alerts.Alarm {
	var out []alerts.Alarm
	for _, a := range all {
		if open(a) {
			out = append(out, a)
		}
	}
	slices.SortStableFunc(out, urgency)
	return out
}

// worst returns the most urgent alarm whose trouble is there now.
func worst(all []alerts.Alarm) *alerts.Alarm {
	for _, a := range openAlarms(all) {
		if a.Active() {
			return &a
		}
	}
	return nil
}

// alarm writes an alarm for people.
func (v viewer) alarm(a alerts.Alarm) alarmView {
	f := a.Finding
	w := alarmView{
		Vessel: a.Vessel, VesselPath: vesselPath(a.Vessel),
		Class: string(a.Class), State: string(a.State), Priority: string(a.Priority), Mark: mark(a),
		What: sentence(cmp.Or(f.What, string(a.Class))), Cause: sentence(f.Cause), First: sentence(f.First),
		Normal: normals(f.Normal),
		Since:  v.clock.at(f.Since), For: v.clock.since(f.Since), Raised: v.clock.at(a.Raised),
	}
	if f.Since.IsZero() && !a.Raised.IsZero() {
		w.Since, w.For = w.Raised, v.clock.since(a.Raised)
	}
	if ended := cmp.Or(a.Ended, a.Clear); !ended.IsZero() && !a.Active() {
		w.Ended, w.For = v.clock.at(ended), ""
	}
	if a.Explained != "" {
		w.Explained = "Explained by the logbook: " + isolate(a.Explained)
	}
	if !a.AckedAt.IsZero() {
		w.Acked = "acknowledged " + v.clock.at(a.AckedAt).Text
		if a.AckedBy != "" {
			w.Acked += " by " + isolate(a.AckedBy)
		}
	}
	if needy(a) && a.ID != "" && v.canAck {
		w.AckPath = "/alarms/" + url.PathEscape(a.ID) + "/acknowledge"
	}
	w.Sure, w.Evidence = sure(f), evidence(f)
	if i := slices.IndexFunc(v.shelf.Calls, func(c alerts.Call) bool { return a.CallID != "" && c.ID == a.CallID }); i >= 0 {
		w.Call = v.delivery(v.shelf.Calls[i])
	}
	return w
}

// mark chooses how an alarm looks; a word always stands beside it.
func mark(a alerts.Alarm) string {
	switch a.State {
	case alerts.Unacknowledged:
		return string(cmp.Or(a.Priority, alerts.Medium))
	case alerts.Acknowledged, alerts.Normal:
		return "seen"
	case alerts.Returned:
		return "over"
	}
	return "rest"
}

// normals says which surroundings are as they should be.
func normals(names []string) string {
	switch len(names) {
	case 0:
		return ""
	case 1:
		return sentence(names[0] + " is as it should be")
	}
	last := len(names) - 1
	return sentence(strings.Join(names[:last], ", ") + " and " + names[last] + " are as they should be")
}

// callMark names the shape beside the state of a call.
func callMark(state string) string {
	switch alerts.CallState(state) {
	case alerts.Delivered:
		return "seen"
	case alerts.Queued:
		return "over"
	}
	return "call"
}

// callView is a call in words.
type callView struct {
	Text, Body string
	State      string
	Delivery   string
	Decided    moment
	Vessel     string
	VesselPath string
	Last       string
}

func (v viewer) call(c alerts.Call) callView {
	w := callView{Text: c.Text, Body: c.Body, State: string(c.State), Delivery: v.delivery(c),
		Decided: v.clock.at(c.Decided), Vessel: c.Vessel}
	if c.Vessel != "" {
		w.VesselPath = vesselPath(c.Vessel)
	}
	if c.State != alerts.Delivered {
		w.Last = sentence(c.Last)
	}
	return w
}

// delivery says how far a call has come.
func (v viewer) delivery(c alerts.Call) string {
	switch c.State {
	case alerts.Delivered:
		s := "delivered " + v.clock.at(c.Done).Text
		if c.Phone != "" {
			s += " to " + isolate(c.Phone)
		}
		return s
	case alerts.Failed:
		return "failed " + v.clock.at(c.Done).Text + ", after " + count(c.Attempts, "attempt")
	case alerts.Expired:
		return "expired " + v.clock.at(c.Done).Text + ", after " + count(c.Attempts, "attempt")
	}
	if c.Attempts == 0 {
		return "waiting to be sent"
	}
	return "not delivered yet, " + count(c.Attempts, "attempt") + ", next " + v.clock.at(c.Next).Text
}

// findingView is a finding in words, with its evidence.
type findingView struct {
	What, Cause, First, Normal string
	Class                      string
	Since                      moment
	For, Sure                  string
	Evidence                   []evidenceView
}

type evidenceView struct{ Name, Value, Normal, Unit string }

func (v viewer) finding(f analysis.Finding) findingView {
	return findingView{What: sentence(cmp.Or(f.What, string(f.Class))), Cause: sentence(f.Cause), First: sentence(f.First),
		Normal: normals(f.Normal), Class: string(f.Class), Since: v.clock.at(f.Since), For: v.clock.since(f.Since),
		Sure: sure(f), Evidence: evidence(f)}
}

// sure writes the probability of a finding. None is ever certain.
func sure(f analysis.Finding) string {
	if !finite(f.Sure) || f.Sure <= 0 {
		return ""
	}
	return strconv.Itoa(int(min(f.Sure, 0.99)*100+0.5)) + " %"
}

func evidence(f analysis.Finding) []evidenceView {
	var out []evidenceView
	for _, e := range f.Evidence {
		n := "–"
		if finite(e.Normal) {
			n = plain(e.Normal)
		}
		out = append(out, evidenceView{Name: e.Name, Value: plain(e.Value), Normal: n, Unit: shownUnit(e.Unit)})
	}
	return out
}
