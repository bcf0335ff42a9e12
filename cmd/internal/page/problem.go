package page

import (
	"encoding/json"
	"net/http"
	"strings"
)

// problem is an error for a machine, after RFC 9457 (Problem Details for HTTP
// APIs), section 3.
type problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail,omitempty"`
}

// failPage is an error for a person.
type failPage struct {
	head
	Status  int
	Message string
}

// fail answers with an error, in a sentence or, to who asks for JSON, as
// problem details.
func (s *site) fail(w http.ResponseWriter, r *http.Request, status int, message string) {
	if !wantsJSON(r) {
		v := s.viewer()
		s.render(w, r, status, "fail", failPage{head: s.head(v, http.StatusText(status), ""), Status: status, Message: message})
		return
	}
	w.Header().Set("Content-Type", "application/problem+json")
	writeJSON(w, status, problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: message})
}

func writeJSON(w http.ResponseWriter, status int, v any) {
	if w.Header().Get("Content-Type") == "" {
		w.Header().Set("Content-Type", "application/json")
	}
	w.WriteHeader(status)
	// An error here means that nobody is listening any more.
	_ = json.NewEncoder(w).Encode(v)
}

// wantsJSON reports whether the request asks for JSON rather than for a page.
func wantsJSON(r *http.Request) bool {
	accept := strings.ToLower(strings.Join(r.Header.Values("Accept"), ","))
	if strings.Contains(accept, "text/html") {
		return false
	}
	return strings.Contains(accept, "application/json") || strings.Contains(accept, "application/problem+json") ||
		strings.HasPrefix(strings.ToLower(r.Header.Get("Content-Type")), "application/json")
}
