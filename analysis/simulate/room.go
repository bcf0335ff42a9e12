package simulate

import (
	"cmp"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Room is a simulated culture room. It is for one goroutine.
type Room struct {
	plan     Plan
	now      time.Time
	step     time.Duration
	pots     []*pot
	byName   map[string]*pot
	post     post
	unread   []ingest.Entry // not yet written, in order of writing
	acts     []Act
	measured []ingest.Reading
	readings []ingest.Reading
}

// New builds the room of a plan. What [Plan.Check] complains of is passed
// over.
func New(plan Plan, seed uint64) *Room {
	r := &Room{plan: plan, now: plan.Start, step: plan.Step, byName: map[string]*pot{}}
	if r.step <= 0 {
		r.step = time.Minute
	}
	r.step = min(r.step, MaxStep)
	r.post = post{Delivery: plan.Delivery, gapUntil: map[string]time.Time{}}
	for _, place := range plan.Places {
		name := place.Vessel.Name
		if r.byName[name] != nil {
			continue
		}
		p := newPot(place, plan.Start, func(of string) *rand.Rand { return stream(seed, name, of) })
		r.pots, r.byName[name] = append(r.pots, p), p
	}
	for _, f := range plan.Faults {
		for _, p := range r.pots {
			if f.Kind.Valid() && (f.Vessel == Everywhere || f.Vessel == p.vessel.Name) {
				p.waiting = append(p.waiting, f)
			}
		}
	}
	for _, a := range plan.Acts {
		if p := r.byName[a.Vessel]; p != nil && a.Kind != ingest.Inoculate { // a lot begins with a Start
			p.add(a)
		}
	}
	return r
}

// stream is a source of chance for one use in one vessel, so that nothing
// that happens elsewhere moves it.
func stream(seed uint64, vessel, use string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(vessel + "\x00" + use)) // a hash takes everything
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// Now returns the time of the room's clock.
func (r *Room) Now() time.Time { return r.now }

// Step lets the room live for one step. It returns the readings that arrived
// in it, in order of arrival, and the entries that were written in it, in
// order of writing; both are valid until the next Step. At the end of the
// plan it returns once more what was still on its way, and then false.
func (r *Room) Step() (readings []ingest.Reading, entries []ingest.Entry, ok bool) {
	next := r.now.Add(r.step)
	if !r.plan.End.IsZero() && next.After(r.plan.End) {
		rest := r.post.arrived(r.readings[:0], r.plan.End.Add(r.plan.Delivery.MaxLate+r.step))
		return rest, nil, len(rest) > 0
	}
	r.now = next
	days := r.step.Hours() / 24
	r.readings = r.post.arrived(r.readings[:0], next)
	r.measured = r.measured[:0]
	for _, p := range r.pots {
		r.post.gap(p, next, days)
		r.measured = p.step(r, next, days, r.measured)
	}
	slices.SortStableFunc(r.measured, func(a, b ingest.Reading) int { return a.At.Compare(b.At) })
	r.readings = r.post.bring(r.readings, r.measured, r.byName, next)
	return r.readings, r.written(next), true
}

// did notes an act that was done, for the one who writes it down.
func (r *Room) did(a *Act) {
	r.acts = append(r.acts, *a)
	if a.Written.IsZero() {
		return
	}
	e := a.entry()
	if a.Kind == ingest.Inoculate {
		e.Fields["volume_l"] = ingest.Num(r.byName[a.Vessel].vessel.VolumeL)
	}
	i, _ := slices.BinarySearchFunc(r.unread, e.Written, func(b ingest.Entry, at time.Time) int {
		return cmp.Or(b.Written.Compare(at), -1)
	})
	r.unread = slices.Insert(r.unread, i, e)
}

func (r *Room) written(now time.Time) []ingest.Entry {
	n := 0
	for n < len(r.unread) && !r.unread[n].Written.After(now) {
		n++
	}
	done := r.unread[:n:n]
	r.unread = r.unread[n:]
	return done
}

// Acts returns everything that was done so far, also what nobody wrote down.
func (r *Room) Acts() []Act { return slices.Clone(r.acts) }

// Truth is how a vessel really stands.
type Truth struct {
	At            time.Time
	Lot           string  // empty without one
	Biomass       float64 // living cells, g dry weight per litre
	Healthy       float64 // what they would be without the faults of culture and surroundings
	Signal        float64 // od without blank, noise or anything of the probe's
	HealthySignal float64
	VolumeL       float64
	Flows         Flows
	TempC         float64
	ParUmol       float64
	AirLpm        float64
	Faults        []Struck // that have begun, in order of beginning
}

// Truth returns how a vessel stands now, false if there is none of that name.
func (r *Room) Truth(vessel string) (Truth, bool) {
	p := r.byName[vessel]
	if p == nil {
		return Truth{}, false
	}
	t := Truth{At: r.now, VolumeL: p.volume, Flows: p.flows, TempC: p.now.temp, ParUmol: p.now.par, AirLpm: p.now.air, Faults: slices.Clone(p.struck)}
	if p.living {
		t.Lot, t.Biomass, t.Healthy = p.lot.Lot.Name, p.sick.x, p.well.x
		t.Signal, t.HealthySignal = p.signal(&p.sick), p.signal(&p.well)
	}
	return t, true
}
