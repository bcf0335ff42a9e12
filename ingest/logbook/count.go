package logbook

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Counted is one density measured by hand.
type Counted struct {
	At         time.Time
	CellsPerML float64 // NaN if only od was measured
	OD         float64 // NaN if only cells were counted; as the instrument showed it
	Error      float64 // relative standard error of the cells
	Least      float64 // cells/mL that one cell counted would have come to
}

const (
	// squareML is what stands over one large square of an improved Neubauer
	// chamber: 1 mm x 1 mm x 0.1 mm.
	squareML = 1e-4
	// pipetting is the relative error of sampling, diluting and filling the
	// chamber that counting more cells does not lower (from memory: a tenth).
	pipetting = 0.10
	// plainCount is taken where only the result was written: about a hundred
	// cells are usual.
	plainCount = 100
	// plainSquares are the large squares of one side that are usual to count.
	plainSquares = 5
)

// Cells is the density that a count in a chamber comes to, cells/mL, and its
// relative standard error: Poisson's of the cells counted and that of handling.
// A count of none has that of one cell.
func Cells(counted, squares, dilution float64) (perML, relative float64) {
	perML = counted / squares / squareML * dilution
	return perML, math.Hypot(1/math.Sqrt(max(counted, 1)), pipetting)
}

// CountOf reads a count; ok is false where it tells no density.
func CountOf(e ingest.Entry) (c Counted, ok bool) {
	c = Counted{At: e.At, CellsPerML: math.NaN(), OD: math.NaN()}
	_, c.Error = Cells(plainCount, 1, 1)
	c.Least, _ = Cells(1, plainSquares, 1)
	if od, said := e.Float("od"); said {
		c.OD, ok = od, true
	}
	if cells, said := e.Float("cells_per_ml"); said {
		c.CellsPerML, ok = cells, true
		return c, ok
	}
	if n, said := e.Float("counted"); said {
		squares, dilution := 1.0, 1.0
		if v, said := e.Float("squares"); said {
			squares = v
		}
		if v, said := e.Float("dilution"); said {
			dilution = v
		}
		c.CellsPerML, c.Error = Cells(n, squares, dilution)
		c.Least, _ = Cells(1, squares, dilution)
		ok = true
	}
	return c, ok
}
