package daemon

import (
	"cmp"
	"context"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/alerts/ledger"
	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

type viewOf = room.View

// shelf shows the room to the page.
type shelf struct {
	d *Daemon

	mu     sync.Mutex       // guards trails
	trails map[string]trail // by vessel
}

// trail is the course of a lot for the small curve, kept for as long as a
// glance at the shelf cannot tell it from a newer one.
type trail struct {
	lot    string
	at     time.Time // the room's time it was read at
	points []analysis.Point
}

var (
	_ page.Source  = (*shelf)(nil)
	_ page.History = (*shelf)(nil)
)

const (
	trailPoints = 200
	trailFor    = 10 * time.Minute // of the room's time
	trailDays   = 14
	bandPoints  = 60
	// shelfWithin bounds how long a page waits for the disk.
	shelfWithin = 2 * time.Second
	recentCalls = 20
)

// Shelf implements page.Source.
func (s *shelf) Shelf() page.Shelf {
	ctx, cancel := context.WithTimeout(context.Background(), shelfWithin)
	defer cancel()
	c := s.d.config
	out := page.Shelf{Room: c.Room, Zone: c.Zone, Now: s.d.now(), Clock: string(c.Clock), Broker: s.d.link.Address(), Topics: c.Filters()}
	if v := s.d.watch.view.Load(); v != nil {
		if !v.now.IsZero() {
			out.Now = v.now
		}
		for _, w := range v.vessels {
			out.Vessels = append(out.Vessels, s.vessel(ctx, w, out.Now))
		}
	}
	out.Staffed = c.Staffed.Staffed(out.Now, c.Zone)
	s.aside(ctx, &out)
	// What cannot be read is left out: the page must come, above all when the
	// disk is in trouble, and /readyz says so.
	out.Alarms, _ = s.d.ledger.Alarms(ctx, ledger.Filter{Since: out.Now.Add(-7 * 24 * time.Hour), Limit: 100})
	renew(out.Alarms, out.Vessels)
	out.Calls, _ = s.d.ledger.Calls(ctx, recentCalls)
	return out
}

// renew puts alarms as they stand now in the place of those that were written
// down when they last changed: what is found goes on meanwhile.
func renew(all []alerts.Alarm, vessels []page.VesselView) {
	now := map[string]alerts.Alarm{}
	for _, v := range vessels {
		for _, a := range v.Alarms {
			now[a.ID] = a
		}
	}
	for i, a := range all {
		if live, ok := now[a.ID]; ok {
			all[i] = live
		}
	}
}

func (s *shelf) aside(ctx context.Context, out *page.Shelf) {
	if t, err := s.d.store.Totals(ctx); err == nil {
		out.SetAside.ByReason = map[ingest.Reason]int{}
		for reason, n := range t.Refused {
			out.SetAside.ByReason[reason] = int(n)
			out.SetAside.Total += int(n)
		}
	}
	out.SetAside.Newest, _ = s.d.store.Refused(ctx, 50)
	seen, err := s.d.store.Vessels(ctx)
	if err != nil {
		return
	}
	for _, v := range seen {
		if !s.d.intake.known[v.Name] {
			out.Unknown = append(out.Unknown, page.UnknownVessel{Name: v.Name, Readings: int(v.Readings), Last: v.Last})
		}
	}
}

func (s *shelf) vessel(ctx context.Context, w viewOf, now time.Time) page.VesselView {
	v := page.VesselView{Vessel: w.Vessel, Estimate: w.Estimate, Latest: w.Newest, Alarms: w.Alarms}
	for _, f := range w.Findings {
		if !told(w.Alarms, f) {
			v.Notices = append(v.Notices, f)
		}
	}
	s.d.book.Read(func(b *logbook.Book) {
		if known := b.Vessel(w.Vessel.Name); known.Known {
			v.FilledL = known.FilledL
		}
		if l, ok := b.Lot(w.Estimate.Lot); ok { // its donor may say what nobody wrote
			v.Estimate.Strain = cmp.Or(v.Estimate.Strain, l.Strain)
			v.Estimate.Medium = cmp.Or(v.Estimate.Medium, l.Medium)
		}
	})
	v.Trail = s.trail(ctx, w, now)
	s.byHand(&v)
	v.Expected = band(w, v.Trail, cmp.Or(v.HarvestOD, v.Vessel.HarvestOD), now)
	return v
}

// told reports whether an alarm tells of a finding already. One that waits out
// its delay, as by day, is shown as what it is so far: something to know of.
func told(all []alerts.Alarm, f analysis.Finding) bool {
	for _, a := range all {
		if a.Key == f.Key && a.State != alerts.Returned {
			return true
		}
	}
	return false
}

// trail reads the lot's course so far, at most once in trailFor.
func (s *shelf) trail(ctx context.Context, w viewOf, now time.Time) []analysis.Point {
	s.mu.Lock()
	defer s.mu.Unlock()
	old, ok := s.trails[w.Vessel.Name]
	if ok && old.lot == w.Estimate.Lot && now.Sub(old.at) < trailFor && !now.Before(old.at) {
		return old.points
	}
	from := now.Add(-trailDays * 24 * time.Hour)
	if w.Estimate.Since.After(from) {
		from = w.Estimate.Since
	}
	points, err := s.density(ctx, w, from, now.Add(time.Minute), trailPoints)
	if err != nil {
		return old.points
	}
	s.trails[w.Vessel.Name] = trail{lot: w.Estimate.Lot, at: now, points: points}
	return points
}

func (s *shelf) density(ctx context.Context, w viewOf, from, to time.Time, points int) ([]analysis.Point, error) {
	out, err := s.Readings(ctx, w.Vessel.Name, unit.OD, from, to, points)
	for i := range out {
		out[i].Value -= w.Estimate.Blank.Likely
	}
	return out, err
}

// comes is how many hours of a course are still to come.
const comes = 24

// band is the course that the lot should have taken in the last three days, and
// will in the next.
func band(w viewOf, trail []analysis.Point, ready float64, now time.Time) []page.CourseBand {
	if w.Estimate.Lot == "" || len(trail) == 0 || w.Estimate.Since.IsZero() {
		return nil
	}
	var out []page.CourseBand
	for _, b := range w.Course {
		out = append(out, page.CourseBand{At: b.At, Low: b.Low, High: b.High})
	}
	if len(out) > comes {
		return out
	}
	// Before a day or so is known: what the literature allows from the start.
	start := trail[0]
	course := expect.Literature(w.Vessel, start.At, start.Value, ready)
	end := now.Add(24 * time.Hour)
	out = nil
	for i := 0; i <= bandPoints; i++ {
		at := start.At.Add(end.Sub(start.At) * time.Duration(i) / bandPoints)
		if low, high := course.At(at); low > 0 {
			out = append(out, page.CourseBand{At: at, Low: low, High: high})
		}
	}
	return out
}

// Density implements page.History.
func (s *shelf) Density(ctx context.Context, vessel string, from, to time.Time, points int) ([]analysis.Point, error) {
	if v := s.d.watch.view.Load(); v != nil {
		for _, w := range v.vessels {
			if w.Vessel.Name == vessel {
				if counted, ok := s.handDensity(w, from, to); ok {
					return counted, nil
				}
				return s.density(ctx, w, from, to, points)
			}
		}
	}
	return s.Readings(ctx, vessel, unit.OD, from, to, points)
}

// Readings implements page.History.
func (s *shelf) Readings(ctx context.Context, vessel string, q ingest.Quantity, from, to time.Time, points int) ([]analysis.Point, error) {
	series, err := s.d.store.Series(ctx, vessel, q, from, to, points)
	out := make([]analysis.Point, 0, len(series))
	for _, p := range series {
		out = append(out, analysis.Point{At: p.At, Value: p.Mean})
	}
	return out, err
}

// Entries implements page.History.
func (s *shelf) Entries(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error) {
	return s.d.store.Entries(ctx, vessel, from, to)
}
