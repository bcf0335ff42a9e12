package page

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// What is sent in the wrong shape, to the wrong room, or with words that only
// the logbook itself writes, is a fault told without the names of types.
func TestPostedEntryOfTheWrongShape(t *testing.T) {
	h := Handler(Options{Source: fixed{shelf: invented()}, Logbook: unwritten{}})
	for body, want := range map[string]string{
		`{"vessel":5}`: `"field":"vessel"`,
		`{"vessel":"C05","kind":"fill","fields":{"volume_l":1e999}}`:   "cannot be a JSON number",
		`{"vessel":"C05","kind":"fill","fields":{"overruled_by":"x"}}`: "stands beside the fields",
		`{"vessel":"C05","kind":"fill","fields":{"overruled":"x"}}`:    "stands beside the fields",
		`{"vessel":"C05","kind":"fill","room":"Attic"}`:                `of \"Lower shelf room\", not of \"Attic\"`,
	} {
		r := httptest.NewRequest(http.MethodPost, "/api/entries", strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), want) || strings.Contains(w.Body.String(), "APIEntry") {
			t.Errorf("%s: %d %s, want 422 with %s", body, w.Code, w.Body, want)
		}
	}
}

// unwritten is a logbook that must not be written in.
type unwritten struct{ Logbook }

func (unwritten) Read(f func(*logbook.Book)) { f(logbook.New(nil)) }
