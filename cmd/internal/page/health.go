package page

import (
	"fmt"
	"net/http"
	"strings"
)

// healthz says that the process serves, and nothing about how well.
func healthz(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, _ = w.Write([]byte("ok\n"))
}

// readiness is the answer of /readyz for a machine.
type readiness struct {
	Ready bool   `json:"ready"`
	Parts []Part `json:"parts"`
}

// readyz says part by part whether the daemon can do its work: 200 if all
// parts are well, 503 if one is not.
func (s *site) readyz(w http.ResponseWriter, r *http.Request) {
	a := readiness{Ready: true, Parts: []Part{}}
	if s.Health != nil {
		a.Parts = append(a.Parts, s.Health.Ready()...)
	}
	var text strings.Builder
	for _, p := range a.Parts {
		word := "ok"
		if !p.OK {
			a.Ready, word = false, "not ok"
		}
		line := p.Name + ": " + word
		if p.Detail != "" {
			line += ", " + strings.Join(strings.Fields(p.Detail), " ")
		}
		fmt.Fprintln(&text, line)
	}
	status := http.StatusOK
	if !a.Ready {
		status = http.StatusServiceUnavailable
	}
	if wantsJSON(r) {
		writeJSON(w, status, a)
		return
	}
	if len(a.Parts) == 0 {
		fmt.Fprintln(&text, "ok")
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text.String()))
}
