// Package track keeps the running estimate of one vessel: one step a reading,
// in the order in which the readings were taken, in constant memory.
//
// A State is a plain value without pointers into anything that changes, so a
// copy of it is a checkpoint: whoever receives a late reading takes the copy
// from before it and steps forward again.
//
// Density is from the od. A second wavelength, where there is one, stands in
// for it while it is silent, on the ratio that the two have shown in this lot,
// and tells when they part; pH tells whether carbon is left. Neither makes the
// growth itself any surer: both hang on pigment, air and buffer, which nobody
// calibrates.
package track

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// recent is how many newest values of a quantity a running median is
// taken from: a majority outvotes two spikes in a row.
const recent = 5

// Newest is what is known of the newest values of one quantity.
type Newest struct {
	At    int64   // Unix ms of the newest reading, 0: none yet
	Value float64 // the newest value
	First int64   // Unix ms of the first reading
	// RunSince is when the newest value came for the first time in a row.
	RunSince int64
	// Before holds the values before the newest, the newest of them last;
	// Filled tells how many there are with it.
	Before [recent - 1]float32
	// Run counts how often the newest value came in a row; Seen and Same count
	// all readings and those that repeated their predecessor before the present
	// run began, both halved where they no longer fit.
	Run, Seen, Same uint16
	Filled          int8
}

// Step is a sudden change of od that is no growth.
type Step struct {
	At    int64   // Unix ms
	Ratio float32 // density after over density before; 0: no step
	// Explained says that the logbook tells of something that would do this.
	Explained bool
	Entry     ingest.Kind // what explains it
}

// Handling is the newest entry that touches what the probe sees.
type Handling struct {
	Kind ingest.Kind
	At   int64 // Unix ms
}

// State is all that is known of one vessel.
type State struct {
	At     int64 // Unix ms of the newest item that was taken in
	Newest [unit.Count]Newest

	// Raw is the raw od of the bin that is filling: RawCount of them, every
	// RawEvery-th, of which RawPassed are passed by.
	Raw                           [rawMost]od24
	RawCount, RawEvery, RawPassed uint8
	RawIndex                      int32

	Fine   [fine]FineBin // by index modulo fine
	Halves [halves]Half  // by index over perHalf, modulo halves
	Latest int32         // index of the newest closed bin, 0: none
	From   int32         // bins before it tell nothing: too many steps lie since

	Lot, Strain, Medium string
	Since               int64 // Unix ms of the inoculation, 0: unknown
	HarvestOD           float64
	Ended               int64 // Unix ms at which the lot ended, 0: it has not
	Standing            int64 // Unix ms since when medium stands in the vessel without a lot
	Dumped              int64 // Unix ms at which it was last emptied, 0: never
	Dense               int32 // bins in a row that were too dense for standing medium while no lot was known

	Blank      float64 // od of the medium alone
	BlankNoise float64
	BlankBins  int32 // bins of standing medium it was learnt from
	// Bend is by how much the probe saturates, 1/od, see density; 0: not known
	// to. BendError is its standard error.
	Bend, BendError float64
	Shift           float32
	StartLog        float64 // log density soon after the start of the lot; NaN unknown
	Pace            float64 // greatest net growth over a whole day in this lot, 1/d; NaN unknown

	HarvestCells float64         // cells/mL at which the lot is ready; 0 unknown
	StartL       float64         // in the vessel after the inoculation, litres; 0 unknown
	SizeL        float64         // what the vessel holds, litres; 0 unknown
	Hands        [hands]HeldHand // measured by hand in this lot, the oldest first
	Draws        [draws]Draw     // what went out and in, the oldest first
	// CellsSum over CellsWeight is the logarithm of the cells/mL in one od.
	CellsSum, CellsWeight float64

	Handled Handling
	Earlier Handling     // the one before it that changed what the probe sees
	LastHit Step         // the newest step
	Taken   [taken]Taken // the newest steps that were taken out, the oldest first
	Slow    Slow
	Second  Second
	Acidity Acidity
	Wiped   int64 // Unix ms since when dirt gathers on the window, 0: unknown
	// Growth over a day and over the last hours, renewed as a bin closes.
	Day, Hours Rate
	Stage      int8 // phase, see phases
	StageSince int64
}

// Rate is a net specific growth rate with its standard error, both 1/d; NaN
// where unknown.
type Rate struct {
	PerDay, Error float64
}

// New returns the state of a vessel of which nothing is known.
func New() State {
	nan := math.NaN()
	return State{StartLog: nan, Pace: nan, Day: Rate{nan, nan}, Hours: Rate{nan, nan}, Blank: 0, BlankNoise: UnknownBlank}
}

// UnknownBlank is the standard error, od, given to a blank that was never seen: a
// cuvette, a carboy's wall and clean medium together differ by about this
// much od between vessels (our own judgement; a fitted blank replaces it).
const UnknownBlank = 0.005

func millis(t time.Time) int64 { return t.UnixMilli() }

func at(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

func binIndex(ms int64) int32 { return int32(ms / BinLength.Milliseconds()) }
