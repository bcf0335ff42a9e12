package backtest

import (
	"encoding/csv"
	"io"
	"time"

	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// Forecast is when a lot is expected to be ready, as it was seen at one time.
type Forecast struct {
	Vessel string
	Made   time.Time
	// Earliest and Latest are the ends of an 80 % interval; Likely is zero where
	// the lot is not expected to be ready within seven days.
	Earliest, Likely, Latest time.Time
}

const (
	// forecastAge is the age from which on a lot is forecast: lag is over by then.
	forecastAge = 48 * time.Hour
	// forecastWithin is how far ahead a likely time is given.
	forecastWithin = 7 * 24 * time.Hour
	// forecastHours is how far ahead courses are followed; what takes longer
	// counts as that.
	forecastHours = 12 * 24
)

// watch follows the hours of the vessels of one run and makes forecasts at
// noon of each day.
type watch struct {
	lib     expect.Library
	vessels map[string]*byhour.Hours
	lots    map[string]*expect.Lot // as they were last looked at
	noon    time.Time              // the next
	out     []Forecast
}

// newWatch returns nil where no forecasts are wanted.
func newWatch(f *runfolder.Folder, o Options) *watch {
	if !o.Forecasts {
		return nil
	}
	w := &watch{vessels: byhour.Gather(f), lots: map[string]*expect.Lot{}}
	if o.Courses != nil {
		w.lib = *o.Courses
	}
	return w
}

// before is told of each reading before the room takes it in.
func (w *watch) before(r ingest.Reading, room *room.Room) {
	if w == nil {
		return
	}
	now := later(room.Now(), r.At)
	// A stamp far ahead is not believed until another says so, as in the room.
	if w.noon.IsZero() {
		w.noon = noonAfter(r.At)
	}
	for !now.Before(w.noon) && room.Now().Add(48*time.Hour).After(now) {
		w.forecast(room)
		w.noon = w.noon.Add(24 * time.Hour)
	}
	if h := w.vessels[r.Vessel]; h != nil {
		h.Take(r)
	}
}

// made returns the forecasts in order of being made.
func (w *watch) made() []Forecast {
	if w == nil {
		return nil
	}
	return w.out
}

func noonAfter(t time.Time) time.Time {
	noon := t.UTC().Truncate(24 * time.Hour).Add(12 * time.Hour)
	if noon.Before(t) {
		noon = noon.Add(24 * time.Hour)
	}
	return noon
}

// forecast asks of every lot in the room when it will be ready.
func (w *watch) forecast(r *room.Room) {
	for _, v := range r.Views() {
		e, h := v.Estimate, w.vessels[v.Vessel.Name]
		if e.Lot == "" || e.Since.IsZero() || w.noon.Sub(e.Since) < forecastAge || !(v.Vessel.HarvestOD > 0) || h == nil {
			continue
		}
		end := byhour.HourOf(w.noon)
		rec := h.Record(e.Lot, e.Strain, e.Medium, e.Since, end)
		before := w.lots[v.Vessel.Name]
		if before != nil && before.Record.Lot != e.Lot {
			before = nil
		}
		lot := w.lib.LotAfter(&rec, before)
		w.lots[v.Vessel.Name] = &lot
		if lot.Level() >= v.Vessel.HarvestOD {
			continue
		}
		within, ok := lot.Harvest(v.Vessel.HarvestOD, h.Ahead(end, forecastHours))
		if !ok {
			continue
		}
		w.out = append(w.out, Forecast{Vessel: v.Vessel.Name, Made: w.noon, Earliest: w.at(within.Low),
			Likely: w.likely(within.Likely), Latest: w.at(within.High)})
	}
}

func (w *watch) at(hours float64) time.Time {
	return w.noon.Add(time.Duration(min(max(hours, 0), forecastHours) * float64(time.Hour))).Round(time.Second)
}

func (w *watch) likely(hours float64) time.Time {
	if hours > forecastWithin.Hours() {
		return time.Time{}
	}
	return w.at(hours)
}

// WriteForecasts writes the forecasts as CSV with the header
// run,vessel,made_at,earliest,likely,latest; times are RFC 3339 in UTC, likely
// is empty for not within seven days.
func WriteForecasts(w io.Writer, runs []Run) error {
	out := csv.NewWriter(w)
	_ = out.Write([]string{"run", "vessel", "made_at", "earliest", "likely", "latest"}) // Error tells
	for _, run := range runs {
		for _, f := range run.Forecasts {
			likely := ""
			if !f.Likely.IsZero() {
				likely = f.Likely.Format(time.RFC3339)
			}
			_ = out.Write([]string{run.Name, f.Vessel, f.Made.Format(time.RFC3339), f.Earliest.Format(time.RFC3339), likely, f.Latest.Format(time.RFC3339)})
		}
	}
	out.Flush()
	return out.Error()
}
