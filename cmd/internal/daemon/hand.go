package daemon

import (
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// millions is the unit in which cells are shown: no phone is wide enough for
// the noughts.
const (
	millions     = 1e6
	millionCells = "million cells/mL"
)

// inCells reports whether a lot is known by its cells alone.
func inCells(e analysis.Estimate) bool { return e.ByHand && !e.Density.Known() }

// byHand shows counts in the place of what no probe tells.
func (s *shelf) byHand(v *page.VesselView) {
	if !v.Estimate.ByHand {
		return
	}
	var lot logbook.Lot
	s.d.book.Read(func(b *logbook.Book) { lot, _ = b.Lot(v.Estimate.Lot) })
	v.Trail = counts(lot, inCells(v.Estimate))
	v.HarvestOD = lot.HarvestOD
	if inCells(v.Estimate) {
		c := v.Estimate.Cells
		v.Estimate.Density = analysis.Interval{Low: c.Low / millions, Likely: c.Likely / millions, High: c.High / millions}
		v.Unit, v.HarvestOD, v.Vessel.HarvestOD = millionCells, lot.HarvestCells/millions, 0
	}
}

// counts are the densities of a lot that were measured by hand, od or millions
// of cells/mL.
func counts(lot logbook.Lot, cells bool) []analysis.Point {
	var out []analysis.Point
	for _, c := range lot.Counts {
		value := c.OD
		if cells {
			value = c.CellsPerML / millions
		}
		if value > 0 { // NaN is not
			out = append(out, analysis.Point{At: c.At, Value: value})
		}
	}
	return out
}

// handDensity is the history of a vessel that is counted; ok is false where a
// probe tells.
func (s *shelf) handDensity(w viewOf, from, to time.Time) (out []analysis.Point, ok bool) {
	if !w.Estimate.ByHand {
		return nil, false
	}
	s.d.book.Read(func(b *logbook.Book) {
		lot, _ := b.Lot(w.Estimate.Lot)
		for _, p := range counts(lot, inCells(w.Estimate)) {
			if !p.At.Before(from) && !p.At.After(to) {
				out = append(out, p)
			}
		}
	})
	return out, true
}
