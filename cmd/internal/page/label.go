package page

import (
	"net/http"
	"strconv"

	"github.com/nightshelf/nightshelf/cmd/internal/label"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// label draws the label of a vessel, to be printed and stuck on: ?vessel=C07,
// and &size=62x29 for another size than the usual.
func (s *site) label(w http.ResponseWriter, r *http.Request) {
	v := s.viewer()
	name := r.URL.Query().Get("vessel")
	if _, ok := v.shelf.vessel(name); !ok || s.Logbook == nil {
		s.fail(w, r, http.StatusNotFound, "No vessel of the name "+strconv.Quote(shorten(name, 80))+" stands on this shelf.")
		return
	}
	size := label.Carboy
	if asked := r.URL.Query().Get("size"); asked != "" {
		var err error
		if size, err = label.ParseSize(asked); err != nil {
			s.fail(w, r, http.StatusBadRequest, sentence(err.Error()))
			return
		}
	}
	var l label.Label
	s.Logbook.Read(func(b *logbook.Book) { l = label.Of(b, name) })
	l.Room, l.Zone = v.shelf.Room, v.shelf.zone()
	if s.PublicURL != "" {
		l.URL = s.PublicURL + vesselPath(name)
	}
	drawn, err := label.SVG(l, size)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, "The label could not be drawn.")
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	_, _ = w.Write(drawn)
}
