package page

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"
)

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
		// With no-referrer an acknowledgement over plain http is refused.
		if got := w.Header().Get("Referrer-Policy"); got != "same-origin" {
			t.Errorf("%s: referrer policy %q", target, got)
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
