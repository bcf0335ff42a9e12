package backtest

import (
	"encoding/csv"
	"errors"
	"io"
	"math"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
	"github.com/nightshelf/nightshelf/ingest/unit"
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
	vessels map[string]*hours
	noon    time.Time // the next
	out     []Forecast
}

// newWatch returns nil where no forecasts are wanted.
func newWatch(f *runfolder.Folder, o Options) *watch {
	if !o.Forecasts {
		return nil
	}
	w := &watch{vessels: gather(f)}
	if o.Courses != nil {
		w.lib = *o.Courses
	}
	return w
}

func gather(f *runfolder.Folder) map[string]*hours {
	out := map[string]*hours{}
	for _, v := range f.Vessels {
		out[v.Name] = &hours{set: v}
	}
	return out
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
		h.take(r)
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
		end := hourOf(w.noon)
		rec := h.record(e.Lot, e.Strain, e.Medium, e.Since, end)
		lot := w.lib.Lot(&rec)
		if lot.Level() >= v.Vessel.HarvestOD {
			continue
		}
		within, ok := lot.Harvest(v.Vessel.HarvestOD, h.ahead(end, forecastHours))
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

// References reads the reference lots of all run folders
// at dir. Their times are those of lots.csv.
func References(dir string) ([]expect.Record, error) {
	names, err := runfolder.List(dir)
	if err != nil {
		return nil, err
	}
	parts, errs := make([][]expect.Record, len(names)), make([]error, len(names))
	var group sync.WaitGroup
	turns := newTurns()
	for i, name := range names {
		group.Go(func() {
			turns.take()
			defer turns.give()
			parts[i], errs[i] = references(name)
		})
	}
	group.Wait()
	var all []expect.Record
	for _, p := range parts {
		all = append(all, p...)
	}
	return all, errors.Join(errs...)
}

// references reads the reference lots of one run folder.
func references(dir string) ([]expect.Record, error) {
	f, err := runfolder.Open(dir)
	if err != nil {
		return nil, err
	}
	var lots []ingest.Lot
	for _, l := range f.Lots {
		if l.Role == ingest.Reference && !l.Inoculated.IsZero() {
			lots = append(lots, l)
		}
	}
	if len(lots) == 0 {
		return nil, nil
	}
	vessels, err := allHours(f)
	if err != nil {
		return nil, err
	}
	var out []expect.Record
	for _, l := range lots {
		h := vessels[l.Vessel]
		if h == nil {
			continue
		}
		end := h.first + int64(len(h.list))
		if !l.Ended.IsZero() {
			end = min(end, hourOf(l.Ended))
		}
		r := h.record(l.Name, l.Strain, l.Medium, l.Inoculated, end)
		r.Ready = l.HarvestOD
		out = append(out, r)
	}
	return out, nil
}

// allHours gathers all readings of a run folder.
func allHours(f *runfolder.Folder) (map[string]*hours, error) {
	vessels := gather(f)
	decoder, err := lineproto.New(lineproto.Options{})
	if err != nil {
		return nil, err
	}
	for chunk, err := range f.Readings() {
		if err != nil && !errors.Is(err, runfolder.ErrLineTooLong) {
			return nil, err
		}
		for _, r := range decoder.Decode(chunk.Data, time.Time{}, time.Time{}).Readings {
			if h := vessels[r.Vessel]; h != nil && math.Abs(r.Value) <= unit.Largest {
				h.take(r)
			}
		}
	}
	return vessels, nil
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
