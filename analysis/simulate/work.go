package simulate

import (
	"cmp"
	"math"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// plan puts the beginning and the end of a lot into the acts to come, and
// before the second and further ones the filling of the vessel.
func (p *pot) plan(s *Start, first bool, start time.Time) {
	written := s.Written
	if written == 0 {
		written = p.soon()
	}
	at := s.Lot.Inoculated
	if at.Before(start) {
		at = start
	}
	name := p.vessel.Name
	p.add(Act{Vessel: name, Kind: ingest.Inoculate, At: at, Written: at.Add(written), AirShut: p.shut(), start: s})
	if !s.Lot.Ended.IsZero() {
		p.add(Act{Vessel: name, Kind: ingest.End, At: s.Lot.Ended, Written: s.Lot.Ended.Add(p.soon()), start: s})
	}
	if fill := at.Add(-fillBefore); !first && fill.After(start) {
		p.add(Act{Vessel: name, Kind: ingest.Fill, At: fill, Written: fill.Add(p.soon())})
	}
}

// fillBefore is how long before the next lot an emptied vessel is filled.
const fillBefore = 18 * time.Hour

// soon is how long after an act it is written down, as a rule.
func (p *pot) soon() time.Duration {
	return 2*time.Minute + time.Duration(p.people.Float64()*25*float64(time.Minute))
}

// shut is how long the air is off in a transfer.
func (p *pot) shut() time.Duration {
	return airShut/2 + time.Duration(p.people.Float64()*float64(airShut))
}

// add keeps the acts in order of time, those of one time in order of coming.
func (p *pot) add(a Act) {
	i := slices.IndexFunc(p.acts, func(b Act) bool { return b.At.After(a.At) })
	if i < 0 {
		i = len(p.acts)
	}
	p.acts = slices.Insert(p.acts, i, a)
}

// work does the acts that are due.
func (p *pot) work(room *Room, now time.Time) {
	for len(p.acts) > 0 && !p.acts[0].At.After(now) {
		a := p.acts[0]
		p.acts = p.acts[1:]
		if p.do(&a) {
			room.did(&a)
		}
	}
}

// do does an act and reports whether there was anything to do.
func (p *pot) do(a *Act) bool {
	switch a.Kind {
	case ingest.Inoculate:
		p.inoculate(a)
	case ingest.End:
		return p.end(a)
	case ingest.Fill:
		a.Litres = p.vessel.VolumeL - p.volume
		p.refill(a.Litres)
		return a.Litres > 0
	case ingest.Harvest:
		return p.harvest(a)
	case ingest.TopUp:
		p.topUp(a)
		return a.Litres > 0
	case ingest.WipeSensor:
		p.sensors.film = 0
		p.reach(a)
	case ingest.Look:
		p.reach(a)
	}
	return true
}

// reach puts a hand into the beam.
func (p *pot) reach(a *Act) { p.handFrom, p.handUntil = a.At, a.At.Add(handStays) }

// inoculate takes out as much medium as culture comes in. The air is shut
// meanwhile.
func (p *pot) inoculate(a *Act) {
	s := a.start
	p.over(a.At)
	p.refill(p.vessel.VolumeL - p.volume)
	litres := s.Lot.InoculumL
	if litres <= 0 {
		litres = 0.1 * p.vessel.VolumeL
	}
	a.Litres = p.drain(litres)
	p.volume += a.Litres
	p.flows.In += a.Litres
	grams := s.InoculumG
	if grams <= 0 {
		grams = usualInoculum
	}
	p.traits = p.draw(s)
	p.sick = inoculated(grams*a.Litres/p.volume, p.traits.lagH0)
	p.well, p.lot, p.living = p.sick, s, true
	p.shutUntil = a.At.Add(cmp.Or(a.AirShut, airShut))
	p.reach(a)
}

// draw gives a lot its traits. It draws as often whatever is said.
func (p *pot) draw(s *Start) traits {
	t := traits{Strain: strainOf(s.Lot.Strain), pace: math.Exp(paceCV * p.rng.NormFloat64()),
		spend: math.Exp(spendCV * p.rng.NormFloat64()), lagH0: lagMedian * math.Exp(lagCV*p.rng.NormFloat64())}
	if s.Pace > 0 {
		t.pace = s.Pace
	}
	if s.LagH0 > 0 {
		t.lagH0 = s.LagH0
	}
	return t
}

// end empties the vessel, if the lot that is meant is still in it.
func (p *pot) end(a *Act) bool {
	if !p.living || a.start != nil && p.lot != a.start {
		return false
	}
	a.start = p.lot
	p.over(a.At)
	a.Litres = p.drain(p.volume)
	p.living, p.lot, p.sick, p.well = false, nil, culture{}, culture{}
	return true
}

func (p *pot) harvest(a *Act) bool {
	if a.Litres = p.drain(a.Litres); a.Litres <= 0 {
		return false
	}
	if a.Refilled {
		p.refill(a.Litres)
	}
	p.shutUntil = a.At.Add(cmp.Or(a.AirShut, airShut))
	p.reach(a)
	return true
}

// topUp adds fresh water for what has dried off: it dilutes and feeds nothing.
func (p *pot) topUp(a *Act) {
	if a.Litres == 0 {
		a.Litres = math.Round(100*(p.vessel.VolumeL-p.volume)) / 100
	}
	if a.Litres <= 0 || p.volume <= 0 {
		a.Litres = 0
		return
	}
	keep := p.volume / (p.volume + a.Litres)
	p.sick.concentrate(keep)
	p.well.concentrate(keep)
	p.volume += a.Litres
	p.flows.In += a.Litres
}

// entry says in the logbook what an act was.
func (a *Act) entry() ingest.Entry {
	e := ingest.Entry{Vessel: a.Vessel, Kind: a.Kind, At: ingest.Stamp(a.At), Written: ingest.Stamp(a.Written), Fields: map[string]ingest.Value{}}
	litres := func(name string) { e.Fields[name] = ingest.Num(math.Round(100*a.Litres) / 100) }
	text := func(name, s string) {
		if s != "" {
			e.Fields[name] = ingest.Text(s)
		}
	}
	switch a.Kind {
	case ingest.Inoculate:
		text("lot", a.start.Lot.Name)
		text("strain", a.start.Lot.Strain)
		text("medium", a.start.Lot.Medium)
		text("donor", a.start.Lot.Donor)
		litres("inoculum_l")
	case ingest.End:
		text("lot", a.start.Lot.Name)
	case ingest.Harvest:
		litres("volume_l")
		e.Fields["refilled"] = ingest.Bool(a.Refilled)
	case ingest.TopUp, ingest.Fill:
		litres("volume_l")
	}
	return e
}
