package page

import (
	"bytes"
	"errors"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Options is what the page is made of. Only Source is required.
type Options struct {
	Source       Source
	History      History      // nil: a vessel shows its trail alone
	Health       Health       // nil: ready whenever it serves
	Acknowledger Acknowledger // nil: alarms can be looked at only
	Logbook      Logbook      // nil: nothing can be written from the page
	// CrossOrigin guards what changes something. Nil trusts the page's own
	// origin alone; a daemon behind a proxy that rewrites the host adds the
	// outer one.
	CrossOrigin *http.CrossOriginProtection
	Log         *slog.Logger // nil: nothing is logged
	Planner     Planner      // nil: no amounts are shown
	PublicURL   string       // where a phone reaches the page, for the code on labels; empty: no code
	Version     string       // shown at the foot of every page, may be empty
}

type site struct{ Options }

// Handler serves the page. It holds no state of its own and starts nothing.
func Handler(o Options) http.Handler {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.CrossOrigin == nil {
		o.CrossOrigin = http.NewCrossOriginProtection()
	}
	s := &site{o}
	mux := http.NewServeMux()
	s.route(mux, "/{$}", methods{http.MethodGet: s.shelf})
	s.route(mux, "/vessel/{name...}", methods{http.MethodGet: s.vessel})
	s.route(mux, "/alarms", methods{http.MethodGet: s.alarms})
	s.route(mux, "/alarms/{id}/acknowledge", methods{http.MethodPost: s.acknowledge})
	s.route(mux, "/label", methods{http.MethodGet: s.label})
	s.apiRoutes(mux)
	s.bookRoutes(mux)
	s.route(mux, "/set-aside", methods{http.MethodGet: s.setAside})
	s.route(mux, "/static/{file}", methods{http.MethodGet: s.static})
	s.route(mux, "/healthz", methods{http.MethodGet: healthz})
	s.route(mux, "/readyz", methods{http.MethodGet: s.readyz})
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, http.StatusNotFound, "There is no page here.")
	})
	return secured(mux)
}

type methods map[string]http.HandlerFunc

// route serves a pattern by method. The mux could do so itself, but would
// answer a wrong method in its own words.
func (s *site) route(mux *http.ServeMux, pattern string, m methods) {
	var allowed []string
	for method := range m {
		allowed = append(allowed, method)
		if method == http.MethodGet {
			allowed = append(allowed, http.MethodHead)
		}
	}
	slices.Sort(allowed)
	mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		method := r.Method
		if method == http.MethodHead {
			method = http.MethodGet
		}
		if h, ok := m[method]; ok {
			h(w, r)
			return
		}
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		s.fail(w, r, http.StatusMethodNotAllowed, "This address does not do that; it takes "+strings.Join(allowed, " and ")+".")
	})
}

// policy lets a page use what this server serves and nothing else: no inline
// style, no inline script, no other host, no frame around it.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; " +
	"manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		// Not no-referrer: with that, browsers send a form with the origin
		// "null", and over plain http, where they send no Sec-Fetch-Site, an
		// acknowledgement would be refused as if it came from elsewhere.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

func (s *site) shelf(w http.ResponseWriter, r *http.Request) {
	p := s.shelfPage(s.viewer())
	p.Who = whoBefore(r)
	s.render(w, r, http.StatusOK, "shelf", p)
}

func (s *site) alarms(w http.ResponseWriter, r *http.Request) {
	p := s.alarmsPage(s.viewer())
	p.Who = whoBefore(r)
	s.render(w, r, http.StatusOK, "alarms", p)
}

func (s *site) setAside(w http.ResponseWriter, r *http.Request) {
	s.render(w, r, http.StatusOK, "aside", s.asidePage(s.viewer()))
}

func (s *site) vessel(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	if name == "" {
		name = r.URL.Query().Get("name")
	}
	v := s.viewer()
	view, ok := v.shelf.vessel(name)
	if !ok {
		s.fail(w, r, http.StatusNotFound, "No vessel of the name "+strconv.Quote(shorten(name, 80))+" stands on this shelf.")
		return
	}
	days, _ := strconv.Atoi(r.URL.Query().Get("days"))
	if !slices.Contains(dayViews, days) {
		days = 0
	}
	p := s.vesselPage(r.Context(), v, view, days)
	p.Written = s.justWritten(r.URL.Query().Get("written"))
	p.Who = whoBefore(r)
	s.render(w, r, http.StatusOK, "vessel", p)
}

// The name of whoever acknowledges is kept on the phone, so that the next time
// takes one tap.
const (
	whoCookie  = "nightshelf_who"
	whoKept    = 400 * 24 * 3600 // seconds
	longestWho = 60              // bytes
)

func whoBefore(r *http.Request) string {
	c, err := r.Cookie(whoCookie)
	if err != nil {
		return ""
	}
	who, err := url.QueryUnescape(c.Value)
	if err != nil {
		return ""
	}
	return shorten(who, longestWho)
}

// longestForm is the most an acknowledgement may say, in bytes.
const longestForm = 4 << 10

func (s *site) acknowledge(w http.ResponseWriter, r *http.Request) {
	if err := s.CrossOrigin.Check(r); err != nil {
		s.fail(w, r, http.StatusForbidden, "This came from another site's page and was not done.")
		return
	}
	if s.Acknowledger == nil {
		s.fail(w, r, http.StatusNotFound, "Alarms cannot be acknowledged from this page.")
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, longestForm)
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, "The form could not be read; go back and try again.")
		return
	}
	id, who := r.PathValue("id"), shorten(strings.TrimSpace(r.PostForm.Get("who")), longestWho)
	err := s.Acknowledger.Acknowledge(r.Context(), id, who)
	switch {
	case errors.Is(err, ErrUnknownAlarm):
		s.fail(w, r, http.StatusNotFound, "No alarm of the id "+strconv.Quote(shorten(id, 80))+" is known here.")
		return
	case err != nil:
		s.Log.Error("page: acknowledge", "alarm", id, "err", err)
		s.fail(w, r, http.StatusInternalServerError, "The alarm could not be acknowledged; it stands as it was. Try again.")
		return
	}
	if who != "" {
		http.SetCookie(w, &http.Cookie{Name: whoCookie, Value: url.QueryEscape(who), Path: "/", MaxAge: whoKept,
			HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil})
	}
	if wantsJSON(r) {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// shorten cuts s to n bytes without cutting a letter.
func shorten(s string, n int) string {
	s = strings.ToValidUTF8(s, "")
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}

// render makes the whole page before any of it leaves: half a page that looks
// whole would be worse than none.
func (s *site) render(w http.ResponseWriter, r *http.Request, status int, name string, data any) {
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, data); err != nil {
		s.Log.Error("page: render", "page", name, "err", err)
		http.Error(w, "The page could not be made. The watch goes on; alarms are still called.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Length", strconv.Itoa(b.Len()))
	w.WriteHeader(status)
	if r.Method == http.MethodHead {
		return
	}
	// An error here means that nobody is listening any more.
	_, _ = w.Write(b.Bytes())
}
