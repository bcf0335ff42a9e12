package webhook

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
)

func TestDefaultBodyStaysUnderItsBound(t *testing.T) {
	c := call()
	c.Body = strings.Repeat("evidence ", 5000)
	b, kind, err := encode(nil, c)
	if err != nil || len(b) >= maxBody || kind != "application/json" || !contains(string(b), "C07: air stopped <now>") {
		t.Errorf("%d bytes of %s: %v", len(b), kind, err)
	}
	for range 2000 {
		c.Alarms = append(c.Alarms, "0123456789abcdef0123456789abcdef")
	}
	if b, _, err = encode(nil, c); err != nil || len(b) >= maxBody {
		t.Errorf("%d bytes: %v", len(b), err)
	}
	c.Text = strings.Repeat("x", maxBody)
	if _, _, err = encode(nil, c); err == nil {
		t.Error("a text without bound was taken")
	}
}

func TestBodyTemplate(t *testing.T) {
	for _, c := range []struct{ text, kind, want string }{
		{`{"topic":"shelf","message":{{json .Data.Text}},"kind":"{{.Type}}"}`, "application/json",
			`{"topic":"shelf","message":"C07: air stopped <now>","kind":"alarm.raised"}`},
		{`{{.Data.Vessel}}: {{.Data.Text}}`, "text/plain; charset=utf-8", `C07: C07: air stopped <now>`},
	} {
		p := phone(serve(t, func(w http.ResponseWriter, r *http.Request) {
			b, _ := io.ReadAll(r.Body)
			if string(b) != c.want || r.Header.Get("Content-Type") != c.kind {
				t.Errorf("got %s as %s, want %s", b, r.Header.Get("Content-Type"), c.want)
			}
		}))
		var err error
		if p.Body, err = ParseBody("night", c.text); err != nil {
			t.Fatal(err)
		}
		if r := Send(t.Context(), p, call()); r.Verdict != Delivered {
			t.Errorf("%+v", r)
		}
	}
}

func TestBadTemplatesAreFoundWhenRead(t *testing.T) {
	for _, text := range []string{"{{.Data.Txt}}", "{{", "{{nofunction}}", "{{.Data.Text | printf}}{{template \"x\"}}"} {
		if _, err := ParseBody("night", text); err == nil || !contains(err.Error(), "body template") {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// A template that only fails with this very call, or fills the memory, costs
// the call at this phone and nothing else.
func TestTemplatesThatFailLater(t *testing.T) {
	for _, text := range []string{`{{index .Data.Alarms 0}}{{if eq .Data.Vessel "C07"}}{{index .Data.Alarms 9}}{{end}}`,
		`{{if eq .Data.Vessel "C07"}}{{printf "%099999d" 1}}{{end}}`} {
		body, err := ParseBody("night", text)
		if err != nil {
			t.Fatal(err)
		}
		p := phone("http://127.0.0.1:1")
		p.Body = body
		if r := Send(t.Context(), p, call()); r.Verdict != Never || r.Reason != ReasonBody {
			t.Errorf("%q: %+v", text, r)
		}
	}
}

func TestPayloadWritesNoNull(t *testing.T) {
	c := call()
	c.Alarms = nil
	b, err := json.Marshal(payload(c))
	if err != nil || contains(string(b), "null") {
		t.Errorf("%s: %v", b, err)
	}
}
