package simulate

import (
	"math"
	"math/rand/v2"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Constants of a vessel, all choices.
const (
	evaporates  = 0.004 // of the set volume in a day
	dryBelow    = 0.35  // of the set volume: the probe stands in air
	carboySlim  = 1.3   // height beside width
	usualVolume = 10.   // L
	paceCV      = 0.12  // lots differ by 10 to 15 per cent
	spendCV     = 0.2
	lagMedian   = 0.45 // growth rate times lag
	lagCV       = 0.4
	airShut     = 8 * time.Minute // in a transfer, as a rule
	handStays   = 2 * time.Minute
)

// pot is one place on the shelf as it is now.
type pot struct {
	place     Place
	vessel    ingest.Vessel // without unknowns
	rng       *rand.Rand    // of growth and surroundings
	people    *rand.Rand
	way       *rand.Rand // of the readings to whoever listens
	silent    bool
	sensors   sensors
	path      float64
	due       time.Time // of the next readings
	lot       *Start    // nil before the first and after an end
	living    bool
	traits    traits
	sick      culture // as it is
	well      culture // as it would be without the faults
	now, fine around  // around each of them
	airSlow   float64
	tempSlow  float64
	volume    float64 // L
	flows     Flows
	shutUntil time.Time // by hand
	handFrom  time.Time
	handUntil time.Time
	waiting   []Fault
	struck    []Struck
	wrong     wrong
	acts      []Act // to come, in order of time
	planned   int   // day of the year for which the keeper has made up their mind
}

// Flows is how many litres have gone in and out of a vessel.
type Flows struct {
	In, Out, Evaporated float64
}

func newPot(place Place, start time.Time, rng func(stream string) *rand.Rand) *pot {
	p := &pot{place: place, vessel: place.Vessel, rng: rng("growth"), people: rng("people"), way: rng("way")}
	p.sensors = sensors{Probe: place.Probe, rng: rng("sensors")}
	p.fill(&p.vessel)
	if p.path = place.PathM; p.path == 0 {
		p.path = math.Cbrt(p.vessel.VolumeL / 1000 * 4 / (math.Pi * carboySlim))
	}
	p.due = start.Add(time.Duration(p.rng.Int64N(int64(p.vessel.Interval))))
	p.now.temp, p.fine.temp = p.vessel.TempC, p.vessel.TempC
	p.now.path, p.fine.path = p.path, p.path
	p.airSlow, p.tempSlow, p.sensors.slow = p.rng.NormFloat64(), p.rng.NormFloat64(), p.sensors.rng.NormFloat64()
	p.planned = -1
	p.refill(p.vessel.VolumeL)
	p.wrong = p.faulty(start)
	p.surround(start.In(p.vessel.Zone), start, 0)
	for i := range place.Starts {
		p.plan(&place.Starts[i], i == 0, start)
	}
	return p
}

// fill sets what is not known of a vessel to something usual.
func (*pot) fill(v *ingest.Vessel) {
	usual := func(value *float64, instead float64) {
		if !(*value > 0) {
			*value = instead
		}
	}
	usual(&v.VolumeL, usualVolume)
	usual(&v.ParUmol, usualLight)
	usual(&v.AirLpm, usualAirShare*v.VolumeL)
	if math.IsNaN(v.TempC) {
		v.TempC = usualTemp
	}
	if v.Zone == nil {
		v.Zone = time.UTC
	}
	if v.Interval <= 0 {
		v.Interval = time.Minute
	}
}

// step appends what is measured on the way to now and then lets that time
// pass. What is measured is what stood before, so that no reading shows what
// comes after it.
func (p *pot) step(room *Room, now time.Time, dt float64, out []ingest.Reading) []ingest.Reading {
	p.silent = p.wrong.allSilent
	for ; !p.due.After(now); p.due = p.due.Add(p.vessel.Interval) {
		out = p.measure(out)
	}
	local := now.In(p.vessel.Zone)
	p.keep(&room.plan.Keeper, local, now)
	p.work(room, now)
	p.begin(now)
	p.wrong = p.faulty(now)
	p.surround(local, now, dt)
	if p.living {
		p.grow(dt)
	}
	p.evaporate(dt)
	p.sensors.drift(dt)
	p.bites(now)
	return out
}

func (p *pot) grow(dt float64) {
	p.sick.step(&p.traits, &p.now, &p.wrong.harm, dt)
	if p.untouched() {
		p.well = p.sick
		return
	}
	p.well.step(&p.traits, &p.fine, &harm{pace: 1}, dt)
}

func (p *pot) measure(out []ingest.Reading) []ingest.Reading {
	see := seen{od: p.signal(&p.sick), temp: p.now.temp, par: p.now.par, air: p.now.air, stir: p.now.stir,
		hand: !p.due.Before(p.handFrom) && p.due.Before(p.handUntil), dry: p.volume < dryBelow*p.vessel.VolumeL}
	return p.sensors.measure(out, ingest.Reading{Vessel: p.vessel.Name, At: ingest.Stamp(p.due)}, &see, &p.wrong)
}

// signal is the od of a culture in this vessel.
func (p *pot) signal(c *culture) float64 {
	if !p.living {
		return 0
	}
	return c.od(p.traits.Strain)
}

func (p *pot) evaporate(dt float64) {
	gone := math.Min(evaporates*p.vessel.VolumeL*dt, p.volume/2)
	if gone <= 0 {
		return
	}
	thicker := p.volume / (p.volume - gone)
	p.sick.concentrate(thicker)
	p.well.concentrate(thicker)
	p.volume -= gone
	p.flows.Evaporated += gone
}

// drain lets litres run out, as far as there are any, and returns how many.
func (p *pot) drain(litres float64) float64 {
	litres = math.Max(0, math.Min(litres, p.volume))
	p.volume -= litres
	p.flows.Out += litres
	return litres
}

// refill adds fresh medium.
func (p *pot) refill(litres float64) {
	if litres <= 0 {
		return
	}
	keep := p.volume / (p.volume + litres)
	p.sick.dilute(keep)
	p.well.dilute(keep)
	p.volume += litres
	p.flows.In += litres
}
