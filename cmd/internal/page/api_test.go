package page

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

var booked = time.Date(2026, time.March, 3, 9, 0, 0, 0, time.UTC)

// bench is a page with a logbook of two carboys.
func bench(t *testing.T) (http.Handler, *paper) {
	t.Helper()
	p := newPaper(booked, ingest.Vessel{Name: "C07", VolumeL: 18}, ingest.Vessel{Name: "C08", VolumeL: 18}, ingest.Vessel{Name: "a/b \"ü", VolumeL: 2})
	var shelf Shelf
	for _, name := range []string{"C07", "C08", "a/b \"ü"} {
		shelf.Vessels = append(shelf.Vessels, VesselView{Vessel: ingest.Vessel{Name: name, VolumeL: 18}})
	}
	h := Handler(Options{Source: fixed{shelf: shelf}, Logbook: p})
	for _, line := range []string{
		`{"vessel": "C07", "kind": "inoculate", "at": "2026-03-01T09:00:00Z", "who": "ana", "overruled_by": "ana",
		  "fields": {"lot": "T1", "strain": "tisochrysis-lutea", "inoculum_l": 1.8, "volume_l": 18}}`,
		`{"vessel": "C08", "kind": "fill", "at": "2026-03-01T10:00:00Z", "fields": {"volume_l": 18}}`,
		`{"vessel": "C08", "kind": "chlorinate", "at": "2026-03-01T11:00:00Z", "fields": {"bleach_ml": 9, "contact_h": 24}}`,
	} {
		if code, body := send(h, "POST", "/api/entries", line); code != http.StatusCreated {
			t.Fatalf("%s answers %d: %s", line, code, body)
		}
	}
	return h, p
}

func send(h http.Handler, method, path, body string) (int, string) {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

// The examples of the documentation, one after the other.
func TestAPIExamples(t *testing.T) {
	h, _ := bench(t)
	want := []struct {
		code int
		says string
	}{
		{201, `"sentence":"harvest: 6 L, refilled with new medium"`},
		{422, `"faults":[{"field":"volume_l","says":"volume, L must be from 0.0001 to 20000, not -6"}]`},
		{409, `"code":"chlorine_untested"`},
		{201, `"sentence":"corrected:`},
		{200, `"sentence":"harvest: 5 L, refilled with new medium"`},
		{200, `"title":"Thiosulfate in, let it mix","next":true,"due_at":"2026-03-02T11:00:00Z"`},
		{200, `"filled_l":18`},
		{200, `"lot":"T1"`},
		{200, `"kin":{`},
	}
	id := ""
	n := 0
	blocks := strings.Split(apiText, "\n\n")
	for i, block := range blocks {
		line, _, _ := strings.Cut(strings.TrimSpace(block), "\n")
		method, path, ok := strings.Cut(line, " ")
		if !ok || method != "GET" && method != "POST" {
			continue
		}
		body := ""
		if method == "POST" {
			body = strings.ReplaceAll(strings.TrimSpace(blocks[i+1]), "{id}", id)
		}
		code, answer := send(h, method, path, body)
		if n >= len(want) {
			t.Fatalf("example %d (%s) is not tested", n, line)
		}
		if code != want[n].code || !strings.Contains(answer, want[n].says) {
			t.Errorf("example %d, %s: %d %s\nwant %d with %s", n, line, code, answer, want[n].code, want[n].says)
		}
		var kept struct{ ID string }
		if json.Unmarshal([]byte(answer), &kept) == nil && kept.ID != "" && id == "" {
			id = kept.ID
		}
		n++
	}
	if n != len(want) {
		t.Errorf("%d examples, want %d", n, len(want))
	}
}

func TestAPIRefuses(t *testing.T) {
	h, p := bench(t)
	for _, tt := range []struct {
		name, body string
		code       int
		says       string
	}{
		{"no JSON", "harvest", 400, "This is no entry"},
		{"two", `{"vessel":"C07","kind":"rinse"} {}`, 400, "One entry at a time."},
		{"unknown word", `{"vesel":"C07"}`, 400, "unknown field"},
		{"no vessel", `{"kind":"rinse"}`, 422, `"field":"vessel"`},
		{"no kind", `{"vessel":"C07"}`, 422, "is no kind of entry"},
		{"unknown field", `{"vessel":"C07","kind":"harvest","fields":{"colour":"green"}}`, 422, `known are volume_l, refilled, tank`},
		{"nested", `{"vessel":"C07","kind":"harvest","fields":{"volume_l":[1]}}`, 422, "must be a number, a text, true or false"},
		{"two faults", `{"vessel":"C07","kind":"harvest","fields":{"volume_l":"much","refilled":3}}`, 422, `"field":"volume_l"`},
		{"too much", `{"vessel":"C07","kind":"remark","fields":{"remark":"` + strings.Repeat("x", mostEntry) + `"}}`, 413, "64 KiB"},
		{"correct nothing", `{"kind":"correct","fields":{"entry":"abcdef0"}}`, 422, "no entry has an id"},
	} {
		code, body := send(h, "POST", "/api/entries", tt.body)
		if code != tt.code || !strings.Contains(body, tt.says) || !strings.Contains(body, `"type":`) {
			t.Errorf("%s: %d %s, want %d with %q", tt.name, code, body, tt.code, tt.says)
		}
	}
	for path, want := range map[string]int{"/api/vessels/C99": 404, "/api/lots/none": 404, "/api/entries?from=noon": 400, "/api/lots/T1": 200,
		"/api/vessels/a%2Fb%20%22%C3%BC": 200, "/api": 200} {
		if code, body := send(h, "GET", path, ""); code != want {
			t.Errorf("GET %s: %d %s, want %d", path, code, body, want)
		}
	}
	if code, _ := send(h, "PUT", "/api/entries", "{}"); code != 405 {
		t.Errorf("PUT answers %d", code)
	}
	r := httptest.NewRequest("POST", "/api/entries", strings.NewReader(`{"vessel":"C07","kind":"rinse"}`))
	r.Header.Set("Content-Type", "text/plain")
	w := httptest.NewRecorder()
	if h.ServeHTTP(w, r); w.Code != 415 {
		t.Errorf("text/plain answers %d", w.Code)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	w = httptest.NewRecorder()
	if h.ServeHTTP(w, r); w.Code != 403 {
		t.Errorf("another site answers %d", w.Code)
	}
	p.err = errors.New("disk full")
	if code, body := send(h, "POST", "/api/entries", `{"vessel":"C07","kind":"rinse"}`); code != 500 || strings.Contains(body, "disk") {
		t.Errorf("a full disk answers %d %s", code, body)
	}
}

// What was overruled says by whom, and corrections and withdrawals show.
func TestAPIKeepsWhoAnswers(t *testing.T) {
	h, _ := bench(t)
	const start = `{"vessel":"C08","kind":"inoculate","who":"bo","overruled_by":"bo","fields":{"lot":"T2","inoculum_l":1.8,"donor":"C07"}}`
	code, body := send(h, "POST", "/api/entries", start)
	if code != 201 || !strings.Contains(body, `"overruled_by":"bo"`) {
		t.Fatalf("%d %s", code, body)
	}
	_, lot := send(h, "GET", "/api/lots/T2", "")
	for _, part := range []string{`"donor":"T1"`, `"generation":2`, `"overruled":["chlorine_untested"`, `"ancestors":["T1"]`} {
		if !strings.Contains(lot, part) {
			t.Errorf("the lot lacks %s: %s", part, lot)
		}
	}
	var kept APIEntry
	if err := json.Unmarshal([]byte(body), &kept); err != nil {
		t.Fatal(err)
	}
	if code, body := send(h, "POST", "/api/entries", `{"kind":"withdraw","who":"ana","fields":{"entry":"`+kept.ID[:8]+`"}}`); code != 201 {
		t.Fatalf("withdraw: %d %s", code, body)
	}
	if _, list := send(h, "GET", "/api/entries?vessel=C08", ""); !strings.Contains(list, `"withdrawn":"2026-03-03T09:00:0`) {
		t.Errorf("the withdrawal does not show: %s", list)
	}
	if code, _ := send(h, "GET", "/api/lots/T2", ""); code != 404 {
		t.Errorf("the lot of a withdrawn start is there: %d", code)
	}
}
