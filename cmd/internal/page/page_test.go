package page

import (
	"encoding/json"
	"errors"
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
	if got := text(entries[1]); got != "4 look clean, remark cells single, no grazers Sun 23 Nov 09:12 CET, Io, written 1 h later" {
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

func TestNoInlineStyleOrScript(t *testing.T) {
	h := serve(invented())
	for _, target := range []string{"/", "/vessel/C04", "/alarms", "/set-aside", "/nowhere"} {
		r := httptest.NewRequest(http.MethodGet, target, nil)
		w := ask(h, r)
		n := get(t, h, target, w.Code)
		for _, e := range find(n, "html")[0:1] {
			for d := range e.Descendants() {
				for _, a := range d.Attr {
					if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
						t.Errorf("%s: <%s %s=%q>", target, d.Data, a.Key, a.Val)
					}
					if (a.Key == "src" || a.Key == "href" || a.Key == "action") && !strings.HasPrefix(a.Val, "/") && !strings.HasPrefix(a.Val, "#") {
						t.Errorf("%s: <%s %s=%q> leaves this server", target, d.Data, a.Key, a.Val)
					}
				}
			}
		}
		if len(find(n, "style")) != 0 {
			t.Errorf("%s has an inline style", target)
		}
		for _, header := range []string{"Content-Security-Policy", "X-Content-Type-Options", "Referrer-Policy", "X-Frame-Options"} {
			if w.Header().Get(header) == "" {
				t.Errorf("%s has no %s", target, header)
			}
		}
		if csp := w.Header().Get("Content-Security-Policy"); strings.Contains(csp, "unsafe") || !strings.Contains(csp, "default-src 'none'") {
			t.Errorf("%s: policy %q", target, csp)
		}
	}
}

func TestRoomsOwnNight(t *testing.T) {
	for _, c := range []struct {
		hour int // UTC; the room is an hour ahead
		want bool
	}{{17, false}, {18, true}, {23, true}, {5, true}, {6, false}, {12, false}} {
		s := invented()
		s.Now = time.Date(2025, 11, 25, c.hour, 0, 0, 0, time.UTC)
		if got := len(find(get(t, serve(s), "/", http.StatusOK), "html.night")) == 1; got != c.want {
			t.Errorf("at %d UTC the page is dark: %v, want %v", c.hour, got, c.want)
		}
	}
}

func TestErrorsArePlainSentences(t *testing.T) {
	h := serve(invented())
	for _, c := range []struct {
		method, target string
		status         int
		want           string
	}{
		{"GET", "/nowhere", 404, "There is no page here."},
		{"GET", "/vessel/C77", 404, `No vessel of the name "C77" stands on this shelf.`},
		{"GET", "/vessel/", 404, `No vessel of the name "" stands on this shelf.`},
		{"GET", "/static/none.js", 404, "There is no such file here."},
		{"POST", "/", 405, "This address does not do that; it takes GET and HEAD."},
		{"GET", "/alarms/a1/acknowledge", 405, "This address does not do that; it takes POST."},
		{"DELETE", "/vessel/C04", 405, "This address does not do that; it takes GET and HEAD."},
	} {
		w := ask(h, httptest.NewRequest(c.method, c.target, nil))
		if w.Code != c.status || !strings.Contains(w.Body.String(), strings.ReplaceAll(c.want, `"`, "&#34;")) {
			t.Errorf("%s %s: %d, want %d and %q", c.method, c.target, w.Code, c.status, c.want)
		}
		if c.status == 405 && w.Header().Get("Allow") == "" {
			t.Errorf("%s %s does not say what is allowed", c.method, c.target)
		}
		r := httptest.NewRequest(c.method, c.target, nil)
		r.Header.Set("Accept", "application/json")
		w = ask(h, r)
		var p problem
		if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
			t.Fatalf("%s %s: %v: %s", c.method, c.target, err, w.Body)
		}
		if got := w.Header().Get("Content-Type"); got != "application/problem+json" || p.Status != c.status || w.Code != c.status || p.Detail != c.want {
			t.Errorf("%s %s: %s %+v", c.method, c.target, got, p)
		}
	}
}

func TestHeadHasNoBody(t *testing.T) {
	w := ask(serve(invented()), httptest.NewRequest(http.MethodHead, "/", nil))
	if w.Code != 200 || w.Body.Len() != 0 || w.Header().Get("Content-Length") == "0" {
		t.Errorf("HEAD: status %d, %d bytes, length %s", w.Code, w.Body.Len(), w.Header().Get("Content-Length"))
	}
}

func acknowledging(who string, headers ...string) *http.Request {
	r := httptest.NewRequest(http.MethodPost, "http://shelf.invalid/alarms/a1/acknowledge", strings.NewReader("who="+who))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	return r
}

func TestAcknowledge(t *testing.T) {
	for name, c := range map[string]struct {
		r      *http.Request
		err    error
		status int
		acked  bool
	}{
		"from the page":                {acknowledging("Mo", "Sec-Fetch-Site", "same-origin"), nil, 303, true},
		"from an old phone":            {acknowledging("Mo", "Origin", "http://shelf.invalid"), nil, 303, true},
		"from a script":                {acknowledging("Mo", "Accept", "application/json"), nil, 204, true},
		"from another site":            {acknowledging("Mo", "Sec-Fetch-Site", "cross-site"), nil, 403, false},
		"from another site, old phone": {acknowledging("Mo", "Origin", "http://evil.invalid"), nil, 403, false},
		"no such alarm":                {acknowledging("Mo"), errors.Join(ErrUnknownAlarm), 404, false},
		"disk away":                    {acknowledging("Mo"), errDisk, 500, false},
		"too long a form":              {acknowledging(strings.Repeat("x", longestForm+1)), nil, 400, false},
	} {
		acks := &ledger{err: c.err}
		w := ask(Handler(Options{Source: fixed{shelf: invented()}, Acknowledger: acks}), c.r)
		if w.Code != c.status || (len(acks.ids) == 1) != c.acked {
			t.Errorf("%s: status %d, acknowledged %v; want %d, %v", name, w.Code, acks.ids, c.status, c.acked)
		}
		if c.acked && (acks.ids[0] != "a1" || acks.whos[0] != "Mo") {
			t.Errorf("%s: acknowledged %v by %v", name, acks.ids, acks.whos)
		}
		if strings.Contains(w.Body.String(), errDisk.Error()) {
			t.Errorf("%s: an inner error reached the page", name)
		}
	}
}

func TestAcknowledgingRemembersWho(t *testing.T) {
	h := Handler(Options{Source: fixed{shelf: invented()}, Acknowledger: &ledger{}})
	w := ask(h, acknowledging("Mo+%C3%89l%C3%A9%3B"))
	cookies := w.Result().Cookies()
	if len(cookies) != 1 || !cookies[0].HttpOnly || cookies[0].SameSite != http.SameSiteStrictMode {
		t.Fatalf("cookies %v", cookies)
	}
	r := httptest.NewRequest(http.MethodGet, "/", nil)
	r.AddCookie(cookies[0])
	if !strings.Contains(ask(h, r).Body.String(), `value="Mo Élé;"`) {
		t.Error("the name is not in the form the next time")
	}
}

func TestWithoutAcknowledgerThereIsNoButton(t *testing.T) {
	h := Handler(Options{Source: fixed{shelf: invented()}})
	if got := len(find(get(t, h, "/", http.StatusOK), "form")); got != 0 {
		t.Errorf("%d forms", got)
	}
	if w := ask(h, acknowledging("Mo")); w.Code != http.StatusNotFound {
		t.Errorf("status %d", w.Code)
	}
}

func TestHealth(t *testing.T) {
	parts := []Part{{Name: "broker", OK: true, Detail: "connected"}, {Name: "store", OK: true}}
	ill := append(slices.Clone(parts), Part{Name: "backlog", Detail: "412 batches\nwait"})
	for _, c := range []struct {
		target, accept string
		parts          []Part
		status         int
		want           string
	}{
		{"/healthz", "", ill, 200, "ok\n"},
		{"/readyz", "", nil, 200, "ok\n"},
		{"/readyz", "", parts, 200, "broker: ok, connected\nstore: ok\n"},
		{"/readyz", "*/*", ill, 503, "broker: ok, connected\nstore: ok\nbacklog: not ok, 412 batches wait\n"},
		{"/readyz", "application/json", ill, 503,
			`{"ready":false,"parts":[{"name":"broker","ok":true,"detail":"connected"},{"name":"store","ok":true},{"name":"backlog","ok":false,"detail":"412 batches\nwait"}]}` + "\n"},
		{"/readyz", "application/json", nil, 200, `{"ready":true,"parts":[]}` + "\n"},
	} {
		r := httptest.NewRequest(http.MethodGet, c.target, nil)
		r.Header.Set("Accept", c.accept)
		w := ask(Handler(Options{Source: fixed{}, Health: fixed{parts: c.parts}}), r)
		if w.Code != c.status || w.Body.String() != c.want {
			t.Errorf("%s %s: %d %q, want %d %q", c.target, c.accept, w.Code, w.Body, c.status, c.want)
		}
	}
}

func TestStaticFilesAreKeptByTheirContent(t *testing.T) {
	h := serve(invented())
	n := get(t, h, "/", http.StatusOK)
	href := attr(find(n, "link[rel=stylesheet]")[0], "href")
	w := ask(h, httptest.NewRequest(http.MethodGet, href, nil))
	if w.Code != 200 || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/css") || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
		t.Errorf("style: %d %v", w.Code, w.Header())
	}
	r := httptest.NewRequest(http.MethodGet, "/static/renew.js", nil)
	r.Header.Set("If-None-Match", ask(h, r).Header().Get("ETag"))
	if w := ask(h, r); w.Code != http.StatusNotModified || strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
		t.Errorf("script without its version: %d %v", w.Code, w.Header())
	}
}

// The page of a room of 60 vessels must come at once on a small machine and
// over a poor line.
func TestSixtyVesselsFitInOnePage(t *testing.T) {
	const most = 150_000 // bytes, before any compression
	w := ask(serve(sixty()), httptest.NewRequest(http.MethodGet, "/", nil))
	if w.Body.Len() > most {
		t.Errorf("the page has %d bytes, at most %d are allowed", w.Body.Len(), most)
	}
}

func sixty() Shelf {
	s := invented()
	one := s.Vessels[0]
	s.Vessels = nil
	for i := range 60 {
		v := one
		v.Vessel.Name = "C" + string(rune('0'+i/10)) + string(rune('0'+i%10))
		s.Vessels = append(s.Vessels, v)
	}
	return s
}

func BenchmarkSixtyVessels(b *testing.B) {
	h := serve(sixty())
	r := httptest.NewRequest(http.MethodGet, "/", nil)
	b.ReportAllocs()
	for b.Loop() {
		w := ask(h, r)
		b.ReportMetric(float64(w.Body.Len()), "bytes/page")
	}
}
