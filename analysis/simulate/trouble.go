package simulate

import (
	"math"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// Struck is a fault that has begun.
type Struck struct {
	Fault           // its Vessel is the one that was struck
	Began time.Time // onset: From, or when there was a culture for it to strike
	// Bite is when it first showed in the truth: the living cells 3 % away
	// from those of the healthy twin for a crash, 10 % for a contaminated lot,
	// 15 % for a stall; for the others when what is measured is first touched.
	// Zero until then.
	Bite    time.Time
	Cleared time.Time // zero: in force
}

// wrong is what all faults in force do to one vessel for one step.
type wrong struct {
	harm
	air, light float64 // shares that are left
	allDay     float64 // share of the light that burns all day
	drift      float64 // degC that the vessel drifts to, 0 none
	film       float64 // od of dirt from faults
	gain       float64 // share by which od reads too much
	bubble     float64 // od that a lodged bubble adds
	tempReads  float64 // degC that the thermometer sends, 0 what it measures
	odStuck    bool
	odSilent   bool
	allSilent  bool
}

// Biomass apart from the healthy twin's at which a fault bites.
var biteAt = map[analysis.Class]float64{analysis.Crash: 0.03, analysis.Contaminated: 0.10, analysis.Stall: 0.15}

// begin lets the faults begin and end that are due.
func (p *pot) begin(now time.Time) {
	waiting := p.waiting[:0]
	for _, f := range p.waiting {
		if now.Before(f.From) || f.Kind.Class().Culture() && !p.living {
			waiting = append(waiting, f)
			continue
		}
		f.Vessel = p.vessel.Name
		p.struck = append(p.struck, Struck{Fault: f, Began: now})
		p.strike(&f)
	}
	p.waiting = waiting
	for i := range p.struck {
		s := &p.struck[i]
		if s.Cleared.IsZero() && !s.Until.IsZero() && !now.Before(s.Until) {
			s.Cleared = now
			p.clear(&s.Fault)
		}
	}
}

// strike does what a fault does in its first moment.
func (p *pot) strike(f *Fault) {
	c, by := &p.sick, f.strength()
	switch f.Kind {
	case Contamination:
		c.grazing = grazingStart
	case Lysis:
		c.floor = lysisRest * c.x
	case PartialKill, DeadInoculum:
		c.kill(by)
	case NutrientShort:
		c.nitrogen *= 1 - by
		c.quota = quotaLow + (c.quota-quotaLow)*(1-by)
	case BacterialBloom:
		c.germs = germsStart
	case ProbeDry:
		p.drain(p.volume - by*p.vessel.VolumeL)
	}
}

// over ends the faults of a culture with the culture.
func (p *pot) over(at time.Time) {
	for i := range p.struck {
		if s := &p.struck[i]; s.Kind.Class().Culture() && s.Cleared.IsZero() {
			s.Cleared = at
		}
	}
}

// clear undoes what does not end by itself.
func (p *pot) clear(f *Fault) {
	if f.Kind == ProbeDry {
		p.refill(p.vessel.VolumeL - p.volume)
	}
}

// faulty gathers what the faults in force do.
func (p *pot) faulty(now time.Time) wrong {
	w := wrong{harm: harm{pace: 1}, air: 1, light: 1}
	for i := range p.struck {
		if s := &p.struck[i]; s.Cleared.IsZero() {
			w.add(s, now)
		}
	}
	return w
}

func (w *wrong) add(s *Struck, now time.Time) {
	by := s.strength()
	switch s.Kind {
	case AirOff, AirWeak:
		w.air = min(w.air, by)
	case LampOut, LampDim:
		w.light = min(w.light, by)
	case TimerStuckOn:
		w.allDay = by
	case ChillerOut, HeaterOut:
		w.drift = by
	case Contamination:
		w.grazers = by
	case Lysis:
		w.lysis = by
	case Slow:
		w.pace *= 1 - by
	case BacterialBloom:
		w.germs = by
	case ODStuck:
		w.odStuck = true
	case ODSilent:
		w.odSilent = true
	case AllSilent:
		w.allSilent = true
	case ODGainJump:
		w.gain += by
	case ODBubbleLodged:
		w.bubble += by
	case ODFouling:
		w.film += by * now.Sub(s.Began).Hours() / 24
	case TempDisconnected:
		w.tempReads = by
	}
}

// bites notes the moment in which each fault first shows.
func (p *pot) bites(now time.Time) {
	for i := range p.struck {
		if s := &p.struck[i]; s.Bite.IsZero() && s.Cleared.IsZero() && p.shows(s) {
			s.Bite = now
		}
	}
}

// How far the surroundings must be from what they should be (choices): beyond
// what the noise of a usual probe could hide.
const (
	tempBites  = 0.5  // K
	lightBites = 0.05 // of the peak of the lamp: a timer that sticks on under a lamp that rises and falls shows little at noon
)

func (p *pot) shows(s *Struck) bool {
	class := s.Kind.Class()
	switch class {
	case analysis.Crash, analysis.Stall:
		return p.living && p.sick.x < (1-biteAt[class])*p.well.x
	case analysis.Contaminated:
		weight := p.sick.x + germOD*p.sick.germs
		return p.living && weight > (1+biteAt[class])*p.well.x
	case analysis.Light:
		return math.Abs(p.now.par-p.fine.par) > lightBites*p.vessel.ParUmol
	case analysis.Temperature:
		return p.now.temp > p.fine.temp+tempBites || p.now.temp < p.fine.temp-tempBites
	case analysis.Airflow:
		return p.now.air < p.fine.air
	}
	return true
}

// untouched says whether the faults touch nothing but what is measured: then
// the culture is its own healthy twin.
func (p *pot) untouched() bool {
	return !slices.ContainsFunc(p.struck, func(s Struck) bool { return s.Kind.Class() != analysis.Sensor })
}
