package page

import (
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
)

func serve(s Shelf) http.Handler {
	return Handler(Options{Source: fixed{shelf: s}, History: past{shelf: s}, Acknowledger: &ledger{}})
}

func TestShelfSaysWhatIsWrongFirst(t *testing.T) {
	n := get(t, serve(invented()), "/", http.StatusOK)
	sections := find(n, "main section")
	if attr(sections[0], "id") != "wrong" || attr(sections[1], "id") != "shelf" {
		t.Fatalf("sections stand in the order %q, %q", attr(sections[0], "id"), attr(sections[1], "id"))
	}
	found := find(n, "#wrong article")
	if len(found) != 2 {
		t.Fatalf("%d alarms stand above the shelf, want 2", len(found))
	}
	for selector, want := range map[string]string{
		".badge": "unacknowledged, high priority",
		"h2":     "C04 Air stopped, 0.0 of 2.0 L/min.",
		".since": "since 02:34 CET, for 38 min",
		".first": "First: Open the clamp at the air line, then look for bubbles.",
		"button": "Acknowledge airflow of C04",
	} {
		if got := one(t, found[0], selector); got != want {
			t.Errorf("%s: %q, want %q", selector, got, want)
		}
	}
	if len(find(found[1], "form")) != 0 {
		t.Error("an acknowledged alarm asks to be acknowledged")
	}
	if got := one(t, n, "head title"); !strings.HasPrefix(got, "(1) ") {
		t.Errorf("title %q does not begin with the number of unacknowledged alarms", got)
	}
}

func TestShelfShowsVesselsAsTheyStand(t *testing.T) {
	n := get(t, serve(invented()), "/", http.StatusOK)
	var names []string
	for _, a := range find(n, ".shelf .tell h2 a") {
		names = append(names, text(a))
	}
	if want := []string{"C01", "C02", "C03", "C04", "C05", "B1", "F1", "K1", "T1", "C06"}; !slices.Equal(names, want) {
		t.Errorf("vessels stand as %v, want %v", names, want)
	}
	cards := find(n, ".shelf .card")
	for _, c := range []struct {
		card           int
		selector, want string
	}{
		{1, ".tell h2", "C02day 6"}, {1, ".phase", "declining growth"}, {1, ".pace", "doubles in 24 h"},
		{1, ".off .word", "too warm"}, {1, ".od", "1.61 od, 1.55 to 1.68"},
		{2, ".harvest", "ready to harvest, past 1.8"}, {2, ".pace", "not growing"}, {2, ".notice", "Ready to harvest since Monday."},
		{3, ".flag", "Air stopped, 0.0 of 2.0 L/min."}, {3, ".off .word", "out of order"},
		{4, ".od", "density not known yet"}, {4, ".phase", "standing medium"}, {4, ".nocurve", "No course yet."},
		{7, ".pace", "loses 21 % a day"}, {8, ".off .word", "silent 3 h"}, {9, ".phase", "empty"},
	} {
		if got := one(t, cards[c.card], c.selector); got != c.want {
			t.Errorf("%s, %s: %q, want %q", names[c.card], c.selector, got, c.want)
		}
	}
}

func TestNothingWrong(t *testing.T) {
	s := invented()
	s.Alarms = nil
	n := get(t, serve(s), "/", http.StatusOK)
	if got := one(t, n, "#wrong"); got != "Nothing needs a person now." {
		t.Errorf("a quiet room says %q", got)
	}
}

func TestManyAlarmsDoNotHideTheShelf(t *testing.T) {
	s := invented()
	s.Alarms = nil
	for i := range 12 {
		a := airStopped()
		a.ID = string(rune('a' + i))
		s.Alarms = append(s.Alarms, a)
	}
	n := get(t, serve(s), "/", http.StatusOK)
	if got := len(find(n, "#wrong article")); got != bannersShown {
		t.Errorf("%d alarms stand above the shelf, want %d", got, bannersShown)
	}
	if got := one(t, n, "#wrong .button[href=/alarms]"); got != "7 more open alarms" {
		t.Errorf("the rest is told as %q", got)
	}
}

func TestEmptyRoomSaysWhatItWaitsFor(t *testing.T) {
	n := get(t, serve(Shelf{Now: smallHour, Broker: "tcp://shelf.invalid:1883", Topics: []string{"shelf/#"}}), "/", http.StatusOK)
	got := one(t, n, "#waiting")
	for _, want := range []string{"tcp://shelf.invalid:1883", "shelf/#", "od=0.412"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q does not say %q", got, want)
		}
	}
}

func TestNoPageShowsNaN(t *testing.T) {
	s := invented()
	nan := math.NaN()
	bad := lot("C99", "jar", nan, 3, .05, .7, 2, "")
	bad.FilledL, bad.HarvestOD, bad.Vessel.VolumeL = nan, nan, nan
	bad.Vessel.TempC, bad.Vessel.HarvestOD = nan, nan
	gone := analysis.Interval{Low: nan, Likely: nan, High: nan}
	bad.Estimate.Density, bad.Estimate.Growth, bad.Estimate.Recent, bad.Estimate.Blank = gone, gone, gone, gone
	for q := range bad.Latest {
		bad.Latest[q] = analysis.Point{At: smallHour, Value: nan}
	}
	for i := range bad.Trail {
		bad.Trail[i].Value = math.Inf(1 - 2*(i%2))
	}
	for i := range bad.Expected {
		bad.Expected[i].Low = nan
	}
	bad.Notices = []analysis.Finding{{What: "odd", Sure: nan, Evidence: []analysis.Evidence{{Name: "x", Value: nan, Normal: nan}}}}
	s.Vessels = append(s.Vessels, bad, idle("C98", "", 0, ""))
	h := serve(s)
	for _, target := range []string{"/", "/vessel/C99", "/vessel/C98", "/alarms", "/set-aside"} {
		w := ask(h, httptest.NewRequest(http.MethodGet, target, nil))
		for _, no := range []string{"NaN", "Inf", "0001", "%!", "ZgotmplZ"} {
			if i := strings.Index(w.Body.String(), no); i >= 0 {
				t.Errorf("%s shows %q: %.80q", target, no, w.Body.String()[max(i-40, 0):])
			}
		}
	}
}

func TestVesselPage(t *testing.T) {
	n := get(t, serve(invented()), "/vessel/C04", http.StatusOK)
	if got := one(t, n, "h1"); got != "C04day 4" {
		t.Errorf("heading %q", got)
	}
	charts := find(n, "svg.chart")
	if len(charts) != 2 {
		t.Fatalf("%d charts, want one for the phone and one for the desk", len(charts))
	}
	for _, c := range charts {
		if panels := find(c, ".panel"); len(panels) != 4 {
			t.Errorf("%d panels on one axis, want density, light, temperature, air", len(panels))
		}
		if lines := find(c, ".panel path.seen"); len(lines) != 4 {
			t.Errorf("%d lines, want 4", len(lines))
		}
		if marks := find(c, ".entry"); len(marks) != 5 {
			t.Errorf("%d entries on the axis, want 5", len(marks))
		}
	}
	entries := find(n, "#entries .rows li")
	if got := text(entries[1]); got != "4 looked at closely, nothing found, cells single, no grazers Sun 23 Nov 09:12 CET, Io, written 1 h later" {
		t.Errorf("entry reads %q", got)
	}
	if got := one(t, n, "#entries .caution"); !strings.Contains(got, "bleach never with acid") {
		t.Errorf("an entry on thiosulfate stands without its caution: %q", got)
	}
	if got := one(t, n, "#beside article table"); !strings.Contains(got, "airflow0 L/min2") {
		t.Errorf("evidence reads %q", got)
	}
}

func TestVesselPageStandsWhenTheDiskDoesNot(t *testing.T) {
	s := invented()
	h := Handler(Options{Source: fixed{shelf: s}, History: past{shelf: s, err: errDisk}})
	n := get(t, h, "/vessel/C04", http.StatusOK)
	got := one(t, n, "#course")
	for _, want := range []string{"Density could not be read from disk.", "The logbook could not be read from disk."} {
		if !strings.Contains(got, want) {
			t.Errorf("%q does not say %q", got, want)
		}
	}
}

func TestVesselPageWithoutHistoryShowsTheTrail(t *testing.T) {
	n := get(t, Handler(Options{Source: fixed{shelf: invented()}}), "/vessel/C01?days=1", http.StatusOK)
	for _, c := range find(n, "svg.chart") {
		if got := len(find(c, ".od path.seen")); got != 1 {
			t.Errorf("the trail is drawn %d times, want once", got)
		}
		if got := len(find(c, ".none")); got != 3 {
			t.Errorf("%d panels say that they have no readings, want 3", got)
		}
	}
	if got := one(t, n, ".views [aria-current=true]"); got != "1 day" {
		t.Errorf("the view is %q", got)
	}
}

func TestAlarmsPage(t *testing.T) {
	s := invented()
	back := airStopped()
	back.ID, back.State, back.Clear = "a3", alerts.Returned, smallHour.Add(-5*time.Minute)
	back.Explained = "harvest: 6 L; written by <ana>"
	s.Alarms = append(s.Alarms, back)
	s.Calls = append(s.Calls,
		alerts.Call{ID: "k2", Text: "C02 again", State: alerts.Queued, Attempts: 2, Next: smallHour.Add(time.Minute), Last: "timed out"},
		alerts.Call{ID: "k3", Text: "C03 again", State: alerts.Failed, Attempts: 5, Done: smallHour, Last: "refused: 410"})
	n := get(t, serve(s), "/alarms", http.StatusOK)
	var states []string
	for _, b := range find(n, "#open .badge") {
		states = append(states, text(b))
	}
	if want := []string{"unacknowledged, high priority", "returned to normal unacknowledged", "acknowledged"}; !slices.Equal(states, want) {
		t.Errorf("open alarms are %q, want %q", states, want)
	}
	if got := one(t, n, "#open"); !strings.Contains(got, "Explained by the logbook: ") || !strings.Contains(got, "harvest: 6 L; written by <ana>") {
		t.Errorf("open alarms read %q, want what explains one of them", got)
	}
	if got := one(t, n, "#past"); !strings.Contains(got, "normal C04") {
		t.Errorf("recent alarms read %q", got)
	}
	calls := one(t, n, "#calls")
	for _, want := range []string{"delivered 02:44 CET to night phone", "not delivered yet, 2 attempts, next 03:13 CET", "Timed out.",
		"failed 03:12 CET, after 5 attempts", "Refused: 410."} {
		if !strings.Contains(calls, want) {
			t.Errorf("calls read %q, want %q in it", calls, want)
		}
	}
}

func TestSetAsidePage(t *testing.T) {
	s := invented()
	s.SetAside.Newest = append(s.SetAside.Newest, ingest.Refused{Reason: ingest.NotUTF8, Topic: "a\u202eb", Input: []byte("\xff<b>\x00\u202e"), Size: 9000, Arrived: smallHour})
	n := get(t, serve(s), "/set-aside", http.StatusOK)
	items := find(n, "#refused .rows li")
	if got, want := text(items[0]), `bad value at line 2, column 21 Field od is not a number: "nan". 01:12 CET on shelf/C02 reading,vessel=C02 od=nan`; got != want {
		t.Errorf("refused input reads %q, want %q", got, want)
	}
	if got, want := text(items[1]), `not utf8 03:12 CET on a\u202eb \xff<b>\x00\u202eThe first 8 of 9000 bytes.`; got != want {
		t.Errorf("refused bytes read %q, want %q", got, want)
	}
	if got := one(t, n, "#unknown details pre"); !strings.Contains(got, `- name: "C13"`) {
		t.Errorf("the hint reads %q", got)
	}
	if got := one(t, n, ".reasons tbody"); !strings.HasPrefix(got, "bad value") {
		t.Errorf("the commonest reason is not first: %q", got)
	}
	if got := one(t, n, "#foot"); !strings.Contains(got, "Newest reading 40 s old.") {
		t.Errorf("the foot reads %q", got)
	}
}

func TestHostileNames(t *testing.T) {
	for _, name := range hostileNames {
		s := invented()
		v := lot(name, name, 20, 3, .05, .7, 2, analysis.Phase(name))
		v.Estimate.Lot, v.Estimate.Strain, v.Estimate.Medium = name, name, name
		a := airStopped()
		a.Vessel, a.ID, a.Finding.What, a.Finding.Cause, a.State, a.AckedBy = name, name, name, name, alerts.Unacknowledged, name
		v.Alarms = []alerts.Alarm{a}
		s.Vessels, s.Alarms, s.Room, s.Broker = []VesselView{v}, v.Alarms, name, name
		s.Unknown[0].Name = name
		acks := &ledger{}
		h := Handler(Options{Source: fixed{shelf: s}, History: past{shelf: s}, Acknowledger: acks})
		n := get(t, h, "/", http.StatusOK)
		if got := len(find(n, "script")); got != 1 {
			t.Errorf("%q: %d scripts on the page, want the one of its own", name, got)
		}
		link := find(n, ".tell h2 a")[0]
		if got := one(t, link, "bdi"); got != strings.Join(strings.Fields(name), " ") {
			t.Errorf("%q is shown as %q", name, got)
		}
		page := get(t, h, attr(link, "href"), http.StatusOK)
		if got := one(t, page, "h1 bdi"); got != strings.Join(strings.Fields(name), " ") {
			t.Errorf("%q leads to the page of %q", name, got)
		}
		for _, target := range []string{attr(link, "href") + "", "/alarms", "/set-aside"} {
			if got := len(find(get(t, h, target, http.StatusOK), "script")); got != 1 {
				t.Errorf("%q: %d scripts on %s", name, got, target)
			}
		}
		action := attr(find(n, "form.ack")[0], "action")
		if name == "." || name == ".." {
			continue // ids are the daemon's own and never these
		}
		if w := ask(h, httptest.NewRequest(http.MethodPost, action, nil)); w.Code != http.StatusSeeOther {
			t.Errorf("%q: acknowledging at %s: status %d", name, action, w.Code)
		}
		if !slices.Equal(acks.ids, []string{name}) {
			t.Errorf("acknowledged %q, want %q", acks.ids, name)
		}
	}
}
