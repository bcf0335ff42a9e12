package page

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// planner knows one amount.
type planner struct{}

func (planner) Amounts(vessel string, step ingest.Kind) (lines, cautions []string) {
	if step != ingest.Neutralise {
		return nil, nil
	}
	return []string{"2 mL for " + vessel}, []string{"Goggles."}
}

// counter is a page with a logbook: C07 holds lot T1, C08 is being bleached.
func counter(t *testing.T) (http.Handler, *paper) {
	t.Helper()
	_, p := bench(t)
	s := Shelf{Now: booked, Vessels: []VesselView{
		{Vessel: ingest.Vessel{Name: "C07", VolumeL: 18}}, {Vessel: ingest.Vessel{Name: "C08", VolumeL: 18}}, {Vessel: ingest.Vessel{Name: "a/b \"ü", VolumeL: 2}}}}
	s.Vessels[0].Estimate.Lot = "T1"
	return Handler(Options{Source: fixed{shelf: s}, Logbook: p, Planner: planner{}}), p
}

func submit(t *testing.T, h http.Handler, form url.Values) (*httptest.ResponseRecorder, *html.Node) {
	t.Helper()
	r := httptest.NewRequest("POST", "/entry", strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	n, err := html.Parse(strings.NewReader(w.Body.String()))
	if err != nil {
		t.Fatal(err)
	}
	return w, n
}

// named finds the inputs of a form by their name.
func named(n *html.Node, name string) (out []*html.Node) {
	if n.Type == html.ElementNode && attr(n, "name") == name {
		out = append(out, n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		out = append(out, named(c, name)...)
	}
	return out
}

func lastOf(t *testing.T, p *paper, vessel string) (n logbook.Noted) {
	t.Helper()
	p.Read(func(b *logbook.Book) {
		all := b.Entries(vessel, time.Time{}, time.Time{})
		n = all[len(all)-1]
	})
	return n
}

func TestHarvestIsWrittenFromTheForm(t *testing.T) {
	h, p := counter(t)
	n := get(t, h, "/entry?vessel=C07&kind=harvest", http.StatusOK)
	for _, name := range []string{"f_volume_l", "f_refilled", "f_tank", "when", "who"} {
		if len(named(n, name)) == 0 {
			t.Errorf("the form does not ask for %s", name)
		}
	}
	w, _ := submit(t, h, url.Values{"vessel": {"C07"}, "kind": {"harvest"}, "f_volume_l": {"6,5 L"}, "f_refilled": {"yes"}, "when": {"10"}, "who": {" ana "}})
	if w.Code != http.StatusSeeOther || !strings.HasPrefix(w.Header().Get("Location"), "/vessel/C07?written=") || !strings.Contains(w.Header().Get("Set-Cookie"), "nightshelf_who=ana") {
		t.Fatalf("written: %d to %q, cookie %q", w.Code, w.Header().Get("Location"), w.Header().Get("Set-Cookie"))
	}
	e := lastOf(t, p, "C07")
	if v, _ := e.Float("volume_l"); e.Kind != ingest.Harvest || v != 6.5 || !e.Flag("refilled") || e.Who != "ana" || !e.At.Equal(booked.Add(-10*time.Minute)) {
		t.Errorf("kept: %+v", e.Entry)
	}
	n = get(t, h, w.Header().Get("Location"), http.StatusOK)
	if got := one(t, n, ".written"); got != "Written down: harvest: 6.5 L, refilled with new medium." {
		t.Errorf("the page says %q", got)
	}
	if got := one(t, n, "#entries"); !strings.Contains(got, "harvest 6.5 L, refilled with new medium") || !strings.Contains(got, "in spite of the questions (chlorine untested dose missing), answered for by") {
		t.Errorf("the logbook reads %q", got)
	}
}

// What was typed stays, what is wrong stands beside its field.
func TestFaultsStandByTheirFields(t *testing.T) {
	h, p := counter(t)
	before := lastOf(t, p, "C07").ID
	for _, tt := range []struct {
		form  url.Values
		field string
		says  string
	}{
		{url.Values{"f_volume_l": {"much"}, "f_tank": {"rotifers"}}, "#e_volume_l", `"much" is no number.`},
		{url.Values{"f_volume_l": {"-6"}}, "#e_volume_l", "Volume, L must be from 0.0001 to 20000, not -6."},
		{url.Values{"f_volume_l": {"6"}, "at": {"noon"}}, ".faults", `"noon" is no time such as 17:40 or 2026-11-24 17:40.`},
		{url.Values{"f_volume_l": {"6"}, "when": {"at"}}, ".faults", "Say at what time, such as 17:40."},
	} {
		tt.form.Set("vessel", "C07")
		tt.form.Set("kind", "harvest")
		w, n := submit(t, h, tt.form)
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%v: answers %d", tt.form, w.Code)
			continue
		}
		if got := strings.TrimSpace(one(t, n, tt.field)); got != tt.says {
			t.Errorf("%v: says %q, want %q", tt.form, got, tt.says)
		}
		if got := attr(named(n, "f_volume_l")[0], "value"); got != tt.form.Get("f_volume_l") {
			t.Errorf("what was typed is now %q", got)
		}
	}
	if lastOf(t, p, "C07").ID != before {
		t.Error("a faulty entry was written")
	}
}

func TestDoubtsAreAskedAndAnsweredFor(t *testing.T) {
	h, p := counter(t)
	form := url.Values{"vessel": {"C08"}, "kind": {"inoculate"}, "f_lot": {"T2"}, "f_inoculum_l": {"1.8"}, "f_taken_out_l": {"1.8"}, "f_donor": {"C07"}}
	w, n := submit(t, h, form)
	if w.Code != http.StatusConflict {
		t.Fatalf("answers %d", w.Code)
	}
	if got := one(t, n, ".doubts"); !strings.Contains(got, "neither thiosulfate nor a chlorine test is written since.") {
		t.Errorf("asks %q", got)
	}
	if got := attr(named(n, "f_donor")[0], "value"); got != "C07" {
		t.Errorf("the donor is now %q", got)
	}
	seen := attr(named(n, "seen")[0], "value")
	form.Set("overrule", "yes")
	form.Set("seen", seen)
	if w, n := submit(t, h, form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(one(t, n, ".faults"), "Who answers for it must be said.") {
		t.Errorf("nobody answers for it: %d", w.Code)
	}
	form.Set("who", "bo")
	// What did not stand on the page is not answered for, whatever is pressed.
	changed := url.Values{}
	for k, v := range form {
		changed[k] = v
	}
	changed.Set("f_taken_out_l", "9")
	if w, n := submit(t, h, changed); w.Code != http.StatusConflict || !strings.Contains(one(t, n, ".doubts"), "9 L were taken out and 1.8 L go in") {
		t.Errorf("another doubt than those on the page: %d", w.Code)
	}
	first := attr(named(n, "at")[0], "value")
	p.now = p.now.Add(10 * time.Minute) // so long did it take to answer
	form.Set("at", first)
	if w, _ := submit(t, h, form); w.Code != http.StatusSeeOther {
		t.Fatalf("overruled: %d", w.Code)
	}
	if e := lastOf(t, p, "C08"); !e.At.Equal(booked) {
		t.Errorf("it happened at %v, want when it was first said to: %v", e.At, booked)
	}
	if e := lastOf(t, p, "C08"); e.Str(logbook.OverruledBy) != "bo" || e.Str("donor") != "C07" {
		t.Errorf("kept: %+v", e.Fields)
	}
}

func TestCorrectAndWithdraw(t *testing.T) {
	h, p := counter(t)
	submit(t, h, url.Values{"vessel": {"C07"}, "kind": {"harvest"}, "f_volume_l": {"6"}, "f_refilled": {"yes"}, "f_tank": {"rotifers"}, "who": {"ana"}})
	id := lastOf(t, p, "C07").ID
	n := get(t, h, "/entry?vessel=C07&kind=correct&entry="+id, http.StatusOK)
	if got := attr(named(n, "f_volume_l")[0], "value"); got != "6" {
		t.Errorf("the form begins with %q litres", got)
	}
	w, _ := submit(t, h, url.Values{"vessel": {"C07"}, "kind": {"correct"}, "entry": {id}, "f_volume_l": {"5"}, "f_tank": {""}, "at": {"2026-03-03 08:30"}, "who": {"bo"}})
	if w.Code != http.StatusSeeOther {
		t.Fatalf("corrected: %d %s", w.Code, w.Body)
	}
	e := lastOf(t, p, "C07")
	if got := logbook.Sentence(e.Entry); got != "harvest: 5 L, not refilled with new medium" || !e.At.Equal(booked.Add(-30*time.Minute)) {
		t.Errorf("now %q at %v", got, e.At)
	}
	if got := one(t, get(t, h, "/vessel/C07", http.StatusOK), "#entries"); !strings.Contains(got, "first written as") || !strings.Contains(got, "harvest: 6 L, refilled with new medium, to tank rotifers") {
		t.Errorf("the logbook reads %q", got)
	}
	// A number that was not said after all goes.
	if w, _ := submit(t, h, url.Values{"vessel": {"C07"}, "kind": {"correct"}, "entry": {id}, "f_volume_l": {""}, "at": {"2026-03-03 08:30"}, "who": {"bo"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("a number taken back: %d %s", w.Code, w.Body)
	}
	if _, said := lastOf(t, p, "C07").Float("volume_l"); said {
		t.Error("a number that was taken back is there")
	}
	if w, _ := submit(t, h, url.Values{"vessel": {"C07"}, "kind": {"withdraw"}, "entry": {id}, "who": {"bo"}, "f_reason": {"wrong carboy"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("withdrawn: %d %s", w.Code, w.Body)
	}
	n = get(t, h, "/vessel/C07", http.StatusOK)
	gone := find(n, "#entries .gone")
	if len(gone) != 1 || !strings.Contains(one(t, n, "#entries"), "withdrawn") {
		t.Errorf("%d entries are struck out", len(gone))
	}
	for path, want := range map[string]int{
		"/entry?vessel=C08&kind=correct&entry=" + id:  404, // of another vessel
		"/entry?vessel=C07&kind=correct":              404,
		"/entry?vessel=C07&kind=brew":                 404,
		"/entry?vessel=C99&kind=harvest":              404,
		"/entry?vessel=C07&kind=withdraw&entry=" + id: 200,
	} {
		get(t, h, path, want)
	}
}

func TestPrepare(t *testing.T) {
	h, p := counter(t)
	n := get(t, h, "/prepare?vessel=C08", http.StatusOK)
	next := find(n, ".steps .next")
	if len(next) != 1 {
		t.Fatalf("%d steps are next", len(next))
	}
	// Bleached on the 1st at eleven for a day; it is the 3rd, nine in the morning.
	for _, part := range []string{"10 Thiosulfate in, let it mix", "waited long enough since Mon 2 Mar 11:00 UTC", "2 mL for C08", "Goggles."} {
		if got := text(next[0]); !strings.Contains(got, part) {
			t.Errorf("next reads %q, want %q in it", got, part)
		}
	}
	if got := text(find(n, ".steps li")[0]); !strings.Contains(got, "not written down") {
		t.Errorf("the first step reads %q", got)
	}
	if got := text(find(get(t, h, "/", http.StatusOK), ".todo")[0]); !strings.Contains(got, "Next: thiosulfate in, let it mix; waited long enough since") {
		t.Errorf("the shelf says %q", got)
	}
	_, _ = submit(t, h, url.Values{"vessel": {"C08"}, "kind": {"neutralise"}, "f_thiosulfate_ml": {"2"}})
	n = get(t, h, "/prepare?vessel=C08", http.StatusOK)
	if got := text(find(n, ".steps .next")[0]); !strings.Contains(got, "11 Test: the water must show no chlorine") || !strings.Contains(got, "wait until 09:10 UTC, 10 min left") {
		t.Errorf("next reads %q", got)
	}
	if bar := find(n, ".steps progress"); len(bar) != 1 || attr(bar[0], "max") != "10" {
		t.Errorf("%d bars show the waiting", len(bar))
	}
	get(t, h, "/prepare?vessel=C99", http.StatusNotFound)
	p.err = errors.New("disk full")
	if w, n := submit(t, h, url.Values{"vessel": {"C08"}, "kind": {"rinse"}}); w.Code != http.StatusInternalServerError || !strings.Contains(one(t, n, ".faults"), "could not be written") {
		t.Errorf("a full disk answers %d", w.Code)
	}
}

func TestFittingAProbe(t *testing.T) {
	_, p := bench(t)
	view := VesselView{Vessel: ingest.Vessel{Name: "C08"}}
	view.Latest = map[ingest.Quantity]analysis.Point{ingest.OD: {At: booked, Value: 0.0123}}
	h := Handler(Options{Source: fixed{shelf: Shelf{Now: booked, Vessels: []VesselView{view}}}, Logbook: p})
	n := get(t, h, "/entry?vessel=C08&kind=fit_sensor", http.StatusOK)
	if got := one(t, n, "#entry"); !strings.Contains(got, "The probe reads 0.012 now (09:00 UTC).") || strings.Contains(got, "A lot grows") {
		t.Errorf("the form says %q", got)
	}
	if got := attr(named(n, "f_blank_od")[0], "value"); got != "0.012" {
		t.Errorf("the blank begins as %q", got)
	}
	if w, n := submit(t, h, url.Values{"vessel": {"C08"}, "kind": {"fit_sensor"}, "share_1": {"1"}, "od_1": {"much"}}); w.Code != 422 || !strings.Contains(one(t, n, ".faults"), "is no step of a dilution series") {
		t.Errorf("a bad series answers %d", w.Code)
	}
	w, _ := submit(t, h, url.Values{"vessel": {"C08"}, "kind": {"fit_sensor"}, "f_blank_od": {"0.012"}, "share_1": {"1"}, "od_1": {"0,8"}, "share_2": {"0.5"}, "od_2": {"0.42"}, "share_3": {"0.25"}})
	if w.Code != http.StatusSeeOther {
		t.Fatalf("answers %d", w.Code)
	}
	p.Read(func(b *logbook.Book) {
		if v := b.Vessel("C08"); v.Probe.Blank != 0.012 || len(v.Probe.Series) != 2 {
			t.Errorf("the probe is %+v", v.Probe)
		}
	})
}

// Names and texts that would break a page do not.
func TestHostileEntries(t *testing.T) {
	h, p := counter(t)
	for _, evil := range []string{`<script>alert(1)</script>`, strings.Repeat("x", 200), "\u202eevil\u202c", "🦠🦠", `"><img src=x onerror=alert(1)>`} {
		w, _ := submit(t, h, url.Values{"vessel": {"C07"}, "kind": {"look"}, "f_seen": {evil}, "f_remark": {evil}, "who": {evil}})
		if w.Code != http.StatusSeeOther {
			t.Fatalf("%q: %d %s", evil, w.Code, w.Body)
		}
		for _, path := range []string{w.Header().Get("Location"), "/entry?vessel=C07&kind=correct&entry=" + lastOf(t, p, "C07").ID} {
			n := get(t, h, path, http.StatusOK)
			if len(find(n, "main script")) != 0 || len(find(n, "main img")) != 0 {
				t.Errorf("%q came alive at %s", evil, path)
			}
		}
	}
	get(t, h, "/entry?vessel="+url.QueryEscape("a/b \"ü")+"&kind=harvest", http.StatusOK)
}

func TestEntryFromElsewhereIsRefused(t *testing.T) {
	h, _ := counter(t)
	r := httptest.NewRequest("POST", "/entry", strings.NewReader("vessel=C07&kind=rinse"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	w := httptest.NewRecorder()
	if h.ServeHTTP(w, r); w.Code != http.StatusForbidden {
		t.Errorf("another site's form answers %d", w.Code)
	}
}
