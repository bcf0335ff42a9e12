package track

import (
	"cmp"
	"math"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// hands is how many densities measured by hand are kept: a lot of two weeks,
// counted every other day, fits whole.
const hands = 8

// Hand is one density measured by hand.
type Hand struct {
	At    int64   // Unix ms, 0: none
	Log   float64 // logarithm of od, or of cells/mL
	Sigma float64 // its standard error
	Cells bool    // cells/mL, not od
}

// HeldHand is a Hand as it is kept.
type HeldHand struct {
	Log   float64
	At    uint32  // Unix s, 0: none
	Sigma float32 // of a count of cells below zero
}

func (h Hand) held() HeldHand {
	sigma := max(float32(h.Sigma), 1e-6) // above zero, as its sign tells what was counted
	if h.Cells {
		sigma = -sigma
	}
	return HeldHand{Log: h.Log, At: seconds(h.At), Sigma: sigma}
}

func (h HeldHand) hand() Hand {
	return Hand{At: int64(h.At) * 1000, Log: h.Log, Sigma: math.Abs(float64(h.Sigma)), Cells: h.Sigma < 0}
}

// seconds of a time in Unix ms: nobody writes down less, and a second of the
// years up to 2106 is held in half the room.
func seconds(ms int64) uint32 { return uint32(max(0, min(ms/1000, math.MaxUint32))) }

// draws is how many draws, refills and top-ups are kept: two weeks of a lot
// that is harvested every day.
const draws = 14

// Draw is culture taken out of the vessel, or medium put in.
type Draw struct {
	At   uint32  // Unix s, 0: none
	OutL float32 // litres out
	InL  float32 // litres of new medium in
}

// replaced reports whether as much came in as went out.
func (d Draw) replaced() bool { return d.OutL > 0 && d.InL == d.OutL }

const (
	// handOD is the relative error of an od read by hand, and handFloor its
	// error where the culture is thin, od (from memory: a twentieth, and the
	// last digit of a simple instrument).
	handOD    = 0.05
	handFloor = 0.005
	// probeFor is how long after its newest reading the od probe is still what
	// the density is taken from.
	probeFor = 24 * time.Hour
	// handSpan and handBack bound the counts that a growth rate is taken from:
	// a whole day apart, so that light and dark both count, and of the last days.
	handSpan = 20 * time.Hour
	handBack = 84 * time.Hour
)

// count takes in a density measured by hand.
func (s *State) count(e ingest.Entry, ms int64) {
	c, ok := logbook.CountOf(e)
	if !ok {
		return
	}
	if c.OD >= 0 { // NaN is not
		od := max(c.OD, handFloor) // nothing seen is less than can be
		s.keepHand(Hand{At: ms, Log: math.Log(od), Sigma: math.Hypot(handOD, handFloor/od)})
	}
	if c.CellsPerML >= 0 {
		h := Hand{At: ms, Log: math.Log(max(c.CellsPerML, c.Least)), Sigma: c.Error, Cells: true}
		if c.CellsPerML == 0 {
			h.Sigma = 1 // one, or none
		}
		s.keepHand(h)
		s.calibrate(ms, c)
	}
	s.renewHand()
}

// keepHand puts h in its place in time; the oldest goes when all are taken.
func (s *State) keepHand(h Hand) {
	var room [hands + 1]HeldHand
	list := room[:0]
	for _, o := range s.Hands {
		if o.At != 0 {
			list = append(list, o)
		}
	}
	i, found := slices.BinarySearchFunc(list, h.held(), func(a, b HeldHand) int {
		return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(unitOf(a.hand()), unitOf(b.hand())), cmp.Compare(a.Log, b.Log))
	})
	if found {
		return // brought again
	}
	list = slices.Insert(list, i, h.held())
	s.Hands = [hands]HeldHand{}
	copy(s.Hands[:], list[max(0, len(list)-hands):])
}

func unitOf(h Hand) int {
	if h.Cells {
		return 1
	}
	return 0
}

// diluted notes what culture went out and what new medium came in, so that
// what grew can be told from what was poured away. Water that makes up for what
// dried off dilutes nothing.
func (s *State) diluted(e ingest.Entry, ms int64) {
	litres, ok := e.Float("volume_l")
	d := Draw{At: seconds(ms)}
	switch {
	case !ok:
		return
	case e.Kind == ingest.Harvest:
		d.OutL = float32(litres)
		if e.Flag("refilled") {
			d.InL = d.OutL
		}
	case e.Kind == ingest.TopUp && e.Str("water") == "medium":
		d.InL = float32(litres)
	default:
		return
	}
	var room [draws + 1]Draw
	list := room[:0]
	for _, o := range s.Draws {
		if o.At != 0 {
			list = append(list, o)
		}
	}
	i, found := slices.BinarySearchFunc(list, d, func(a, b Draw) int {
		return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.OutL, b.OutL), cmp.Compare(a.InL, b.InL))
	})
	if found {
		return // brought again
	}
	list = slices.Insert(list, i, d)
	s.Draws = [draws]Draw{}
	copy(s.Draws[:], list[max(0, len(list)-draws):])
	s.renewHand()
}

// undrawn is what must be added to a log density of the time ms to take all
// dilutions of the lot out of it.
func (s *State) undrawn(ms int64) float64 {
	in := s.StartL
	if in == 0 {
		in = s.SizeL
	}
	sum := 0.0
	for _, d := range s.Draws {
		if d.At == 0 || d.At < seconds(s.Since) || d.At > seconds(ms) || !(in > 0) {
			continue
		}
		left := max(in-float64(d.OutL), 0)
		switch now := left + float64(d.InL); {
		case d.replaced() && left > 0:
			sum += math.Log(in / left)
		case !d.replaced() && left > 0 && d.InL > 0:
			sum += math.Log(now / left)
			in = now
		case !d.replaced():
			in = now
		}
	}
	return sum
}

// untold is when culture was last replaced by nobody knows what share, Unix ms:
// counts before it cannot be held against those after.
func (s *State) untold() int64 {
	at := int64(0)
	for _, d := range s.Draws {
		if d.replaced() && d.At >= seconds(s.Since) && s.StartL == 0 && s.SizeL == 0 {
			at = int64(d.At) * 1000
		}
	}
	return at
}

// ByHand reports whether the density is known by hand alone: the lot was
// counted, and its probe, if it has one, has been silent for a day.
func (s *State) ByHand() bool {
	n := s.Newest[ingest.OD]
	newest := int64(0)
	for _, h := range s.Hands {
		newest = max(newest, h.hand().At)
	}
	return s.Since != 0 && newest != 0 && seconds(newest) >= seconds(s.Since) && (n.At == 0 || s.At-n.At > probeFor.Milliseconds())
}

// Counted returns the counts of this lot in one unit, the oldest first, with
// dilutions taken out. Cells come before od where there are more of them.
func (s *State) Counted() []Hand {
	n := [2]int{}
	for _, held := range s.Hands {
		if h := held.hand(); s.ofLot(h) {
			n[unitOf(h)]++
		}
	}
	cells := n[1] > n[0]
	out := make([]Hand, 0, hands)
	from := s.untold()
	for _, held := range s.Hands {
		if h := held.hand(); s.ofLot(h) && h.Cells == cells && h.At >= from {
			h.Log += s.undrawn(h.At)
			out = append(out, h)
		}
	}
	return out
}

func (s *State) ofLot(h Hand) bool { return h.At != 0 && seconds(h.At) >= seconds(s.Since) }

// renewHand works the growth rate out from counts, where nothing else tells.
func (s *State) renewHand() {
	if !s.ByHand() {
		return
	}
	list := s.Counted()
	s.Day = handRate(list)
	if s.Newest[ingest.OD].At < s.Since {
		// Whatever the order in which they were written down.
		s.Pace = math.NaN()
		for n := range list {
			if g := handRate(list[:n]).PerDay; g > 0 && !(s.Pace >= g) {
				s.Pace = g
			}
		}
	}
	if g := s.Day.PerDay; g > 0 && !(s.Pace >= g) {
		s.Pace = g
	}
	s.renewStage()
}

// handRate is the weighted least squares slope of the counts of the last days,
// with the standard error that their own errors give it: two counts have no
// scatter to tell of.
func handRate(list []Hand) Rate {
	unknown := Rate{math.NaN(), math.NaN()}
	if len(list) < 2 {
		return unknown
	}
	last := list[len(list)-1].At
	for len(list) > 0 && last-list[0].At > handBack.Milliseconds() {
		list = list[1:]
	}
	if last-list[0].At < handSpan.Milliseconds() {
		return unknown
	}
	var w, wx, wy float64
	for _, h := range list {
		k := 1 / (h.Sigma * h.Sigma)
		w, wx, wy = w+k, wx+k*days(h.At-last), wy+k*h.Log
	}
	var sxx, sxy float64
	for _, h := range list {
		k, x := 1/(h.Sigma*h.Sigma), days(h.At-last)-wx/w
		sxx, sxy = sxx+k*x*x, sxy+k*x*(h.Log-wy/w)
	}
	return Rate{PerDay: sxy / sxx, Error: 1 / math.Sqrt(sxx)}
}

func days(ms int64) float64 { return float64(ms) / float64((24 * time.Hour).Milliseconds()) }

// calibrate learns how many cells one od is, from a count while the probe
// looks on. It belongs to a strain and a probe.
func (s *State) calibrate(ms int64, c logbook.Counted) {
	if !(c.CellsPerML > 0) {
		return
	}
	logCells, sigma := math.Log(c.CellsPerML), c.Error
	b, ok := s.Bin(binIndex(ms))
	for back := int32(1); !ok && back <= 3; back++ {
		b, ok = s.Bin(binIndex(ms) - back)
	}
	if !ok {
		return
	}
	level, e, ok := s.LogDensity(b)
	if !ok {
		return
	}
	k := 1 / (sigma*sigma + e*e)
	s.CellsWeight += k
	s.CellsSum += k * (logCells - (level - float64(b.Shift)))
}

// CellsPerOD returns the logarithm of the cells/mL that one od above blank
// is, and its standard error; ok is false where nobody has counted under a
// probe.
func (s *State) CellsPerOD() (log, sigma float64, ok bool) {
	if s.CellsWeight == 0 {
		return math.NaN(), math.NaN(), false
	}
	return s.CellsSum / s.CellsWeight, 1 / math.Sqrt(s.CellsWeight), true
}

// fit takes the blank that was read when a probe was fitted.
func (s *State) fit(e ingest.Entry) {
	s.CellsSum, s.CellsWeight = 0, 0
	if od, ok := e.Float("blank_od"); ok {
		s.Blank, s.BlankNoise, s.BlankBins = od, fittedBlank, fittedBins
	}
	s.bend(e)
	// Another probe repeats nothing of what the one before it said.
	n := &s.Newest[ingest.OD]
	n.Run, n.Seen, n.Same = 0, 0, 0
}

const (
	// fittedBlank is the standard error of a blank that was read and entered:
	// its last digit, and what a wall differs by from place to place.
	fittedBlank = 0.002
	// fittedBins is how many bins of standing medium it weighs as: half a day.
	fittedBins = 72
)
