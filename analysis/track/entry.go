package track

import (
	"math"

	"github.com/nightshelf/nightshelf/ingest"
)

// Note takes in one entry of the logbook, in its place in time, or later than
// that: an entry that comes late explains what was already seen. One that
// belongs to a lot or a filling before the present one changes nothing, so
// that an entry may come again at any time.
func (s *State) Note(e ingest.Entry) {
	ms := millis(e.At)
	switch e.Kind {
	case ingest.Fill:
		if ms >= max(s.Since, s.Standing) {
			s.empty()
			s.Standing = ms
		}
	case ingest.Dump:
		if ms >= s.Since {
			s.empty()
			s.Dumped = ms
		}
	case ingest.Inoculate:
		if ms > s.Since || s.Lot == Unnamed {
			s.start(e, ms)
		}
	case ingest.End:
		if lot := e.Str("lot"); ms >= s.Since && (lot == "" || lot == s.Lot) {
			s.Ended = ms
		}
	case ingest.Count:
		s.count(e, ms)
	case ingest.Harvest, ingest.TopUp, ingest.WipeSensor, ingest.FitSensor, ingest.Move, ingest.Sample, ingest.Dose:
		if e.Kind == ingest.FitSensor {
			s.fit(e)
		}
		if e.Kind == ingest.FitSensor || e.Kind == ingest.WipeSensor {
			s.wiped(ms)
		}
		s.diluted(e, ms)
		s.handle(e, ms)
	}
}

// wiped notes that the window is clean. What dirt had gathered by then goes
// with it: a step too small to be found, of a size that is not known.
func (s *State) wiped(ms int64) {
	if ms <= s.Wiped {
		return
	}
	s.Second.apart()
	if d, ok := s.thick(s.Latest); ok && s.Wiped != 0 && s.Lot != "" && ms > s.Since {
		s.took(binIndex(ms), 0, filmOD*days(ms-s.Wiped)/d)
	}
	s.Wiped = ms
}

// start begins a lot.
func (s *State) start(e ingest.Entry, ms int64) {
	s.unlearn(ms)
	if strain := e.Str("strain"); strain != s.Strain {
		s.CellsSum, s.CellsWeight = 0, 0 // cells of another size
	}
	s.Lot, s.Strain, s.Medium = e.Str("lot"), e.Str("strain"), e.Str("medium")
	if s.Lot == "" {
		s.Lot = "lot of " + e.At.UTC().Format("2006-01-02")
	}
	if od, ok := e.Float("harvest_od"); ok {
		s.HarvestOD = od
	} else {
		s.HarvestOD = 0
	}
	s.HarvestCells, _ = e.Float("harvest_cells_per_ml")
	s.begin(s.Lot, ms)
	s.Wiped = max(s.Wiped, ms) // what was on the window by then is in the blank
	v, _ := e.Float("volume_l")
	s.StartL = v
	s.Handled, s.Earlier = Handling{Kind: ingest.Inoculate, At: ms}, Handling{}
	s.renewHand()
}

// begin forgets what was known of the lot before.
func (s *State) begin(lot string, ms int64) {
	nan := math.NaN()
	s.Lot, s.Since, s.Ended, s.Standing, s.Dense = lot, ms, 0, 0, 0
	// What was taken out before is of another lot, also where this one is
	// entered late and some of its bins are here already.
	s.Taken, s.From = [taken]Taken{}, 0
	s.Shift, s.StartLog, s.Pace = 0, nan, nan
	s.Day, s.Hours = Rate{nan, nan}, Rate{nan, nan}
	s.LastHit, s.Slow = Step{}, Slow{}
	s.StartL = 0 // Hands and Draws know by their time which lot they are of
	s.Stage, s.StageSince = stageLag, ms
	s.Second.apart()
}

// empty forgets the lot and the blank: other water comes in.
func (s *State) empty() {
	blank := New()
	s.Lot, s.Strain, s.Medium, s.Since, s.Ended, s.HarvestOD = "", "", "", 0, 0, 0
	s.Dense = 0
	s.Standing, s.Blank, s.BlankNoise, s.BlankBins = 0, blank.Blank, blank.BlankNoise, 0
	s.Shift, s.StartLog, s.Pace, s.Day, s.Hours = 0, blank.StartLog, blank.Pace, blank.Day, blank.Hours
	s.Slow, s.Taken, s.From = blank.Slow, blank.Taken, 0
	s.LastHit, s.Handled, s.Earlier = Step{}, Handling{}, Handling{}
	s.Stage, s.StageSince = stageEmpty, s.At
	s.Second, s.Acidity = Second{}, Acidity{}
}

// explainWithin is how far the time written for an entry may be from the step
// it explains: people round, and write from memory.
const explainWithin = 60 * 60 * 1000 // ms

func (s *State) handle(e ingest.Entry, ms int64) {
	h := Handling{Kind: e.Kind, At: ms}
	if s.LastHit.Ratio != 0 && !s.LastHit.Explained && fits(h, s.LastHit) {
		s.LastHit.Explained, s.LastHit.Entry = true, e.Kind
	}
	// Work that changes what the probe sees is not forgotten for a dose or a
	// sample that follows it.
	minor := !makesStep(h.Kind) && makesStep(s.Handled.Kind) && ms-s.Handled.At <= workAfter.Milliseconds()
	if ms >= s.Handled.At && !minor {
		if makesStep(s.Handled.Kind) && s.Handled.At != ms {
			s.Earlier = s.Handled
		}
		s.Handled = h
		s.settleWork() // written late: its traces are here already
	} else if makesStep(h.Kind) && ms < s.Handled.At && ms > s.Earlier.At {
		s.Earlier = h
		s.settleWork()
	}
}

// explaining is the work entered last that would make a step like hit, or the
// one before it: who draws wipes the probe too.
func (s *State) explaining(hit Step) (Handling, bool) {
	for _, h := range [...]Handling{s.Handled, s.Earlier} {
		if fits(h, hit) {
			return h, true
		}
	}
	return Handling{}, false
}

// fits reports whether what was done at h would make a step like hit.
func fits(h Handling, hit Step) bool {
	switch h.Kind {
	case "", ingest.Dose:
		return false
	case ingest.Sample, ingest.TopUp, ingest.WipeSensor:
		// A sample is millilitres, a top-up makes up for what dried off, a film
		// on a window is worth a fifth: none of them halves a culture.
		if hit.Ratio < 0.65 || hit.Ratio > 1.5 {
			return false
		}
	}
	d := h.At - hit.At
	return -explainWithin <= d && d <= explainWithin
}
