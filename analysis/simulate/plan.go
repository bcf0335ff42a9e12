package simulate

import (
	"errors"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Plan is everything about a room that is not left to chance.
type Plan struct {
	Start    time.Time
	End      time.Time     // zero: never
	Step     time.Duration // of the room's own clock; 0 is a minute; at most MaxStep
	Places   []Place
	Faults   []Fault
	Acts     []Act // beside what the starts and the keeper bring
	Keeper   Keeper
	Delivery Delivery
}

// MaxStep is the longest step that the constants of the simulator bear.
const MaxStep = 5 * time.Minute

// Place is one place on the shelf: a vessel, what grows in it one after the
// other, and its probe.
type Place struct {
	Vessel ingest.Vessel // unknown numbers are filled with usual ones
	PathM  float64       // way of the light through it, m; 0: that of a carboy of its volume
	Starts []Start       // in order of time
	Probe  Probe
}

// Start is a lot that is inoculated at its time and ended at its time, if it
// has one. A lot that is older than the plan begins with it. Before its first
// lot a vessel holds standing medium; after a lot's end it is empty until the
// evening before the next.
type Start struct {
	Lot       ingest.Lot
	InoculumG float64       // g dry weight per litre of the inoculum; 0 is the usual
	LagH0     float64       // growth rate times lag; 0: drawn
	Pace      float64       // beside the strain's growth rate; 0: drawn
	Written   time.Duration // after it was done; 0: drawn, some minutes
}

// usualInoculum is what is taken from a good neighbour, g/L (choice).
const usualInoculum = 0.13

// Act is one thing that somebody does at a vessel.
type Act struct {
	Vessel   string
	Kind     ingest.Kind
	At       time.Time
	Litres   float64       // harvested, topped up
	Refilled bool          // of a harvest: with fresh medium, at once
	Written  time.Time     // zero: never
	AirShut  time.Duration // in a transfer; 0: the usual
	start    *Start
}

// Keeper is who looks after the room by day. The zero Keeper never comes.
type Keeper struct {
	Harvest float64 // share of the volume taken and refilled when a lot is ready; 0: never
	TopUp   bool    // makes up for what dries off
	Wipe    bool    // wipes each probe now and then
	Hands   float64 // times a day that a hand is in the beam of a probe
	// Shares of harvests, top-ups and wipings, not of starts and ends, that
	// are written the next morning or never; the rest within half an hour.
	NextMorning, Never float64
}

// UsualKeeper comes every day and forgets some things (choices).
func UsualKeeper() Keeper {
	return Keeper{Harvest: 0.4, TopUp: true, Wipe: true, Hands: 0.5, NextMorning: 0.12, Never: 0.04}
}

// Delivery is what happens to readings on their way. The zero Delivery brings
// all of them at once and once. Shares are of the readings of one vessel at
// one time, which travel together.
type Delivery struct {
	Lost     float64
	Repeated float64
	Late     float64
	MaxLate  time.Duration // of late and repeated ones
	Gaps     float64       // times a day that a vessel is not heard
	MaxGap   time.Duration
}

// UsualDelivery is a radio network in a wet room (choices).
func UsualDelivery() Delivery {
	return Delivery{Lost: 0.004, Repeated: 0.003, Late: 0.005, MaxLate: 20 * time.Minute, Gaps: 0.1, MaxGap: 25 * time.Minute}
}

// Check says what a room could not be made of: every fault of the plan that
// it would have to pass over. New works without it.
func (p *Plan) Check() error {
	var errs []error
	wrong := func(format string, args ...any) { errs = append(errs, fmt.Errorf("plan: "+format, args...)) }
	if p.Step < 0 || p.Step > MaxStep {
		wrong("step %v is not from 0 to %v", p.Step, MaxStep)
	}
	if !p.End.IsZero() && p.End.Before(p.Start) {
		wrong("it ends at %v, before it starts at %v", p.End, p.Start)
	}
	here := map[string]bool{Everywhere: true}
	for i := range p.Places {
		name := p.Places[i].Vessel.Name
		if !ingest.ValidVesselName(name) || here[name] {
			wrong("%q is no name for one more vessel", name)
		}
		here[name] = true
	}
	for _, f := range p.Faults {
		if !f.Kind.Valid() || !here[f.Vessel] {
			wrong("no fault %q of vessel %q can be made", f.Kind, f.Vessel)
		}
	}
	for _, a := range p.Acts {
		if !here[a.Vessel] || a.Vessel == Everywhere {
			wrong("%s at vessel %q, which is not there", a.Kind, a.Vessel)
		}
	}
	return errors.Join(errs...)
}

// Lots returns the lots of the plan, in order of the places.
func (p *Plan) Lots() []ingest.Lot {
	var all []ingest.Lot
	for i := range p.Places {
		for _, s := range p.Places[i].Starts {
			s.Lot.Vessel = p.Places[i].Vessel.Name
			all = append(all, s.Lot)
		}
	}
	return all
}

// Vessels returns the vessels of the plan.
func (p *Plan) Vessels() []ingest.Vessel {
	all := make([]ingest.Vessel, len(p.Places))
	for i := range p.Places {
		all[i] = p.Places[i].Vessel
	}
	return all
}
