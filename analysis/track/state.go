// Package track keeps the running estimate of one vessel: one step a reading,
// in the order in which the readings were taken, in constant memory.
//
// A State is a plain value without pointers into anything that changes, so a
// copy of it is a checkpoint: whoever receives a late reading takes the copy
// from before it and steps forward again.
//
// Density is from the od alone. A second wavelength tells cells from the
// pigment in them, and pH tells carbon used from carbon blown in; both hang on
// strain, air and buffer so much that neither makes the growth any surer
// without a calibration nobody enters. They are kept as newest values and
// change no estimate.
package track

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

const (
	// BinLength is the time over which raw densities are brought to one
	// median: long against bubbles, short against a crash.
	BinLength = 10 * time.Minute
	// bins is how many of them are kept: two days, so that every hour has the
	// same hour of the day before beside it.
	bins = int(48 * time.Hour / BinLength)
	// rawMost is how many raw densities of one bin are looked at: one each
	// 10 s fits whole.
	rawMost = 64
	// recent is how many newest values of a quantity a running median is
	// taken from: a majority outvotes two spikes in a row.
	recent = 5
)

// Newest is what is known of the newest values of one quantity.
type Newest struct {
	At    int64   // Unix ms of the newest reading, 0: none yet
	Value float64 // the newest value
	First int64   // Unix ms of the first reading
	// Last holds the newest values, the newest last; Filled tells how many.
	Last   [recent]float32
	Filled int8
	// Run counts how often the newest value came in a row, since RunSince;
	// Seen and Same count all readings and those that repeated their
	// predecessor before the present run began.
	Run      int32
	RunSince int64
	Seen     int32
	Same     int32
}

// Bin is one median of density.
type Bin struct {
	Index int32 // time over BinLength since 1970
	Count int16 // raw values in it
	Lamp  int8  // whether light fell on it: unknown, dark, lit
	// OD is the median of the raw od, Noise its standard error.
	OD, Noise float32
	// Shift is what must be added to the logarithm of the density to take
	// all steps since the start of the lot out of it.
	Shift float32
}

// Step is a sudden change of od that is no growth.
type Step struct {
	At    int64   // Unix ms
	Ratio float32 // density after over density before; 0: no step
	// Explained says that the logbook tells of something that would do this.
	Explained bool
	Entry     ingest.Kind // what explains it
}

// steps is for how many steps their errors are kept: more in one day is work
// that no growth can be read through.
const steps = 4

// Taken is a step that was taken out of the course.
type Taken struct {
	At    int64   // Unix ms, 0: none
	Error float32 // standard error of its logarithm
}

// took notes that a step was taken out.
func (s *State) took(ms int64, sigma float64) {
	copy(s.Taken[:], s.Taken[1:])
	s.Taken[steps-1] = Taken{At: ms, Error: float32(sigma)}
}

// stepVariance is the variance that the steps of the last day bring in.
func (s *State) stepVariance() float64 {
	sum := 0.0
	for _, t := range s.Taken {
		if t.At != 0 && s.At-t.At < 25*time.Hour.Milliseconds() {
			sum += float64(t.Error) * float64(t.Error)
		}
	}
	return sum
}

// Handling is the newest entry that touches what the probe sees.
type Handling struct {
	Kind     ingest.Kind
	At       int64 // Unix ms
	VolumeL  float64
	Refilled bool
}

// State is all that is known of one vessel.
type State struct {
	At     int64 // Unix ms of the newest item that was taken in
	Newest [unit.Count]Newest

	Raw      [rawMost]float32 // raw od of the bin that is filling
	RawCount int16
	RawIndex int32

	Bins   [bins]Bin // by Index modulo bins
	Latest int32     // Index of the newest closed bin, 0: none

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

	HarvestCells float64     // cells/mL at which the lot is ready; 0 unknown
	StartL       float64     // in the vessel after the inoculation, litres; 0 unknown
	SizeL        float64     // what the vessel holds, litres; 0 unknown
	Hands        [hands]Hand // measured by hand in this lot, the oldest first
	Draws        [draws]Draw // what went out and in, the oldest first
	// CellsSum over CellsWeight is the logarithm of the cells/mL in one od.
	CellsSum, CellsWeight float64

	Handled Handling
	LastHit Step         // the newest step
	Taken   [steps]Taken // the newest steps that were taken out, for their errors
	Slow    Slow
	Wiped   int64 // Unix ms since when dirt gathers on the window, 0: unknown
	// Growth over a day and over the last hours, renewed as a bin closes.
	Day, Hours Rate
	// Light and Dark are the growth in each over the last 24 hours, 1/d of time
	// spent in it, renewed each hour.
	Light, Dark Rate
	Stage       int8 // phase, see phases
	StageSince  int64
}

// Rate is a net specific growth rate with its standard error, both 1/d; NaN
// where unknown.
type Rate struct {
	PerDay, Error float64
}

// New returns the state of a vessel of which nothing is known.
func New() State {
	nan := math.NaN()
	return State{StartLog: nan, Pace: nan, Day: Rate{nan, nan}, Hours: Rate{nan, nan}, Light: Rate{nan, nan}, Dark: Rate{nan, nan}, Blank: 0, BlankNoise: UnknownBlank}
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

// Bin returns the closed bin of that index and whether it is kept.
func (s *State) Bin(index int32) (Bin, bool) {
	if index <= 0 {
		return Bin{}, false
	}
	b := s.Bins[int(index)%bins]
	return b, b.Index == index
}
