package backtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/ingest"
)

// Invented seasons are rooms of the simulator that differ in what a judge must
// not lean on: how noisy the probes are, how slowly they wander, how often they
// are read, what the lamps do. What varies, and how far, is a choice made
// here before any judge was held against it.

// A room holds inventedVessels for inventedDays, as the recorded season does.
const (
	inventedVessels = 12
	inventedDays    = 10
	apart           = 14 * 24 * time.Hour // from the start of one room to that of the next
	// faultsBy is when the last fault has begun: what bites slowly needs the rest
	// of the run to show.
	faultsBy = 8 * 24 * time.Hour
	lotsEnd  = 0.3 // share of the lots that are ended on the last day
	fewRooms = 4   // with more, and any faults, one room has an event of the whole room instead
)

// invented says what season is wanted.
type invented struct {
	seed              uint64
	rooms, references int     // rooms to watch, and rooms of faultless reference lots
	faults            float64 // share of the watched vessels that a fault strikes, 0 to 1
}

// inventedRoom is one room of a season, not yet played.
type inventedRoom struct {
	name string
	plan simulate.Plan
	seed uint64
	// courses are what its lots are held against; nil: the literature.
	courses *expect.Library
}

// plan draws the whole season.
func (o invented) plan() []inventedRoom {
	chance := rand.New(rand.NewPCG(o.seed, 0x696e76656e74))
	start := time.Date(2027, time.January, 11, 0, 0, 0, 0, time.UTC)
	var all []inventedRoom
	for i := range o.references + o.rooms {
		name := fmt.Sprintf("room-%02d", i-o.references+1)
		if i < o.references {
			name = fmt.Sprintf("reference-%d", i+1)
		}
		r := inventedRoom{name: name, seed: chance.Uint64()}
		r.plan = simulate.Season(r.seed, start.Add(time.Duration(i)*apart), inventedVessels, inventedDays, 1)
		all = append(all, r)
	}
	every := intervals(chance, len(all))
	for i := range all {
		all[i].vary(chance, every[i], i)
		if i < o.references {
			all[i].refer()
		}
	}
	o.strike(chance, all[o.references:])
	return all
}

// intervals deals how often each room is read, so that no three rooms that
// follow each other are read alike.
func intervals(chance *rand.Rand, rooms int) []time.Duration {
	var out []time.Duration
	for len(out) < rooms {
		deck := []time.Duration{30 * time.Second, 2 * time.Minute, 10 * time.Minute}
		chance.Shuffle(len(deck), func(i, j int) { deck[i], deck[j] = deck[j], deck[i] })
		out = append(out, deck...)
	}
	return out[:rooms]
}

// vary gives a room its own probes, lamps and names. White noise is half to
// twice the usual, slow noise too, and its memory as well, each drawn for
// itself and for the room: probes of one room are of one make and differ
// little.
func (r *inventedRoom) vary(chance *rand.Rand, every time.Duration, number int) {
	half := func() float64 { return math.Exp2(2*chance.Float64() - 1) } // half to twice, evenly by the logarithm
	noise, slow := half(), half()
	memory := time.Duration(4 * half() * float64(time.Hour))
	shape := chance.IntN(3) // 0: as drawn
	r.plan.Step = min(time.Minute, every)
	for i := range r.plan.Places {
		p := &r.plan.Places[i]
		p.Probe.Noise, p.Probe.Slow, p.Probe.Memory = noise*p.Probe.Noise, slow/noise, memory
		p.Vessel.Interval = every
		p.Vessel.LightShape = []ingest.Shape{p.Vessel.LightShape, ingest.Square, ingest.Sine}[shape]
		lot := &p.Starts[0].Lot
		lot.Name = fmt.Sprintf("%s%04d", lot.Name[:2], number*inventedVessels+i+1) // once in the season
		if end := chance.Float64(); chance.Float64() < lotsEnd {
			lot.Ended = r.plan.End.Add(-time.Duration((16 - 9*end) * float64(time.Hour))).Truncate(time.Minute) // by day
		}
	}
}

// refer makes a room one of reference lots.
func (r *inventedRoom) refer() {
	for i := range r.plan.Places {
		r.plan.Places[i].Starts[0].Lot.Role = ingest.Reference
	}
	r.plan.Faults = nil
}

// strike leaves the season the share of its faults that is wanted, of every
// kind as many as can be. The plans hold one for every place so far.
func (o invented) strike(chance *rand.Rand, rooms []inventedRoom) {
	type drawn struct {
		room  int
		fault simulate.Fault
	}
	var deck []drawn
	everywhere := -1 // the room that is struck as a whole
	if o.faults > 0 && len(rooms) >= fewRooms {
		everywhere = chance.IntN(len(rooms))
	}
	for i := range rooms {
		for _, f := range rooms[i].plan.Faults {
			if i != everywhere && f.From.Before(rooms[i].plan.Start.Add(faultsBy)) {
				deck = append(deck, drawn{i, f})
			}
		}
		rooms[i].plan.Faults = nil
	}
	chance.Shuffle(len(deck), func(i, j int) { deck[i], deck[j] = deck[j], deck[i] })
	taken := map[simulate.FaultKind]int{}
	for range int(math.Round(o.faults * float64(len(rooms)*inventedVessels))) {
		if len(deck) == 0 {
			break
		}
		rarest := 0
		for i := range deck {
			if taken[deck[i].fault.Kind] < taken[deck[rarest].fault.Kind] {
				rarest = i
			}
		}
		d := deck[rarest]
		deck = slices.Delete(deck, rarest, rarest+1)
		taken[d.fault.Kind]++
		rooms[d.room].plan.Faults = append(rooms[d.room].plan.Faults, asBad(chance, d.fault))
	}
	if everywhere >= 0 {
		rooms[everywhere].plan.Faults = []simulate.Fault{wholeRoom(chance, rooms[everywhere].plan.Start)}
	}
}

// wholeRoom draws what strikes all vessels in one minute: the blower, the
// chiller or the timer that they share.
func wholeRoom(chance *rand.Rand, start time.Time) simulate.Fault {
	kind := []simulate.FaultKind{simulate.AirOff, simulate.ChillerOut, simulate.LampOut}[chance.IntN(3)]
	from := start.Add(time.Duration((4 + 3*chance.Float64()) * 24 * float64(time.Hour))).Truncate(time.Minute)
	lasts := time.Duration((6 + 6*chance.Float64()) * float64(time.Hour)).Truncate(time.Minute)
	return simulate.Fault{Kind: kind, Vessel: simulate.Everywhere, From: from, Until: from.Add(lasts)}
}

// badness is the span from which the strength of a fault is drawn, about the
// simulator's usual (choices); kinds without one have a single strength.
var badness = map[simulate.FaultKind][2]float64{
	simulate.AirWeak: {0.1, 0.4}, simulate.LampDim: {0.3, 0.6}, simulate.ChillerOut: {28, 32}, simulate.HeaterOut: {10, 14},
	simulate.Contamination: {3.5, 7}, simulate.Lysis: {3, 9}, simulate.PartialKill: {0.3, 0.7},
	simulate.NutrientShort: {0.8, 0.97}, simulate.DeadInoculum: {0.8, 0.95}, simulate.Slow: {0.5, 0.75}, simulate.BacterialBloom: {2.5, 4.5},
	simulate.ODGainJump: {0.2, 0.5}, simulate.ODBubbleLodged: {0.08, 0.25}, simulate.ODFouling: {0.1, 0.3}, simulate.ProbeDry: {0.15, 0.3},
}

// asBad draws how bad a fault is. What falsifies the od lasts to the end of the
// run: the simulator would put it right without an entry, and the leap back,
// which nobody wrote down, would be right to ask about and labelled false.
func asBad(chance *rand.Rand, f simulate.Fault) simulate.Fault {
	u := chance.Float64()
	if span, ok := badness[f.Kind]; ok {
		f.Strength = span[0] + (span[1]-span[0])*u
	}
	if f.Kind == simulate.TempDisconnected && u < 0.5 {
		f.Strength = 85 // what the thermometer sends after a reset
	}
	if f.Kind.Class() == analysis.Sensor && f.Kind != simulate.TempDisconnected && f.Kind != simulate.ODSilent && f.Kind != simulate.AllSilent {
		f.Until = time.Time{}
	}
	return f
}
