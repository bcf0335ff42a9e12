package simulate

import (
	"cmp"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// post brings readings, not always at once and not always once.
type post struct {
	Delivery
	parcels  []parcel // on their way, in order of arrival
	gapUntil map[string]time.Time
}

type parcel struct {
	arrives  time.Time
	readings []ingest.Reading
}

// bring takes what was measured in one step, appends to out what arrives at
// once and keeps what comes later. It draws as often for a silent vessel.
func (p *post) bring(out, measured []ingest.Reading, from map[string]*pot, now time.Time) []ingest.Reading {
	for len(measured) > 0 {
		n := 1 // readings of one vessel at one moment travel together
		for n < len(measured) && measured[n].Vessel == measured[0].Vessel && measured[n].At.Equal(measured[0].At) {
			n++
		}
		out = p.send(out, measured[:n], from[measured[0].Vessel], now)
		measured = measured[n:]
	}
	return out
}

func (p *post) send(out, together []ingest.Reading, from *pot, now time.Time) []ingest.Reading {
	if p.Delivery == (Delivery{}) {
		if from.silent {
			return out
		}
		return append(out, together...)
	}
	r := from.way
	lost, repeated, late, when := r.Float64(), r.Float64(), r.Float64(), time.Duration(r.Float64()*float64(p.MaxLate))
	if from.silent || lost < p.Lost || now.Before(p.gapUntil[together[0].Vessel]) {
		return out
	}
	if late < p.Late {
		p.keep(now.Add(when), together)
	} else {
		out = append(out, together...)
	}
	if repeated < p.Repeated {
		p.keep(now.Add(when), together)
	}
	return out
}

// gap draws whether a vessel falls silent in the next dt days.
func (p *post) gap(from *pot, now time.Time, dt float64) {
	if p.Gaps > 0 && from.way.Float64() < p.Gaps*dt {
		p.gapUntil[from.vessel.Name] = now.Add(time.Duration(from.way.Float64() * float64(p.MaxGap)))
	}
}

func (p *post) keep(arrives time.Time, readings []ingest.Reading) {
	i, _ := slices.BinarySearchFunc(p.parcels, arrives, func(a parcel, at time.Time) int {
		return cmp.Or(a.arrives.Compare(at), -1) // behind those of the same time
	})
	p.parcels = slices.Insert(p.parcels, i, parcel{arrives, slices.Clone(readings)})
}

// arrived appends what has arrived by now.
func (p *post) arrived(out []ingest.Reading, now time.Time) []ingest.Reading {
	for len(p.parcels) > 0 && !p.parcels[0].arrives.After(now) {
		out = append(out, p.parcels[0].readings...)
		p.parcels = p.parcels[1:]
	}
	return out
}
