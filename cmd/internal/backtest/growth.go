package backtest

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"time"

	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/analysis"
)

const (
	// growthEvery is how often growth is written, on the whole hours of UTC.
	growthEvery = 6 * time.Hour
	// growthFrom is the age from which on it is: before that there is no whole
	// day of the lot behind most hours.
	growthFrom = 36 * time.Hour
	// growthLeap is how far ahead a single stamp is not believed.
	growthLeap = 48 * time.Hour
)

// Growth is what was believed of the growth of one lot at one time.
type Growth struct {
	Vessel string
	At     time.Time
	Net    analysis.Interval // over the 24 h before At, 1/d, 90 % interval
}

// growths gathers them on the way.
type growths struct {
	due  time.Time // the next; zero before the first reading
	list []Growth
}

// pass is told the time of each reading before the room is: what is due before
// that is written from what the room knows by then.
func (g *growths) pass(r *room.Room, at time.Time) {
	if g.due.IsZero() {
		g.due = at.UTC().Truncate(growthEvery).Add(growthEvery)
	}
	if now := r.Now(); now.IsZero() || at.Sub(now) > growthLeap {
		return
	}
	for ; at.After(g.due); g.due = g.due.Add(growthEvery) {
		for _, v := range r.Views() {
			e := v.Estimate
			if e.Lot == "" || e.Since.IsZero() || !e.Ended.IsZero() || g.due.Sub(e.Since) < growthFrom {
				continue
			}
			g.list = append(g.list, Growth{Vessel: v.Vessel.Name, At: g.due, Net: e.Growth})
		}
	}
}

// WriteGrowth writes what was believed of the growth of every lot as CSV with
// the header run,vessel,at,per_day,low,high: net specific growth rate over the
// 24 h before at, 1/d, with the ends of a 90 % interval; times are RFC 3339 in
// UTC. Where nothing is known there is no row.
func WriteGrowth(w io.Writer, runs []Run) error {
	out := csv.NewWriter(w)
	_ = out.Write([]string{"run", "vessel", "at", "per_day", "low", "high"}) // Error tells
	text := func(x float64) string { return strconv.FormatFloat(x, 'f', 4, 64) }
	for _, run := range runs {
		for _, g := range run.Growth {
			if math.IsNaN(g.Net.Likely) {
				continue
			}
			_ = out.Write([]string{run.Name, g.Vessel, g.At.Format(time.RFC3339), text(g.Net.Likely), text(g.Net.Low), text(g.Net.High)})
		}
	}
	out.Flush()
	return out.Error()
}
