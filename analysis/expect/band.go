package expect

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// z80 is the 90th percentile of the standard normal: the half width of an 80 %
// interval in standard errors.
const z80 = 1.2815515655446004

// Band returns where the density should have been in each hour since the oldest
// that is remembered, and where it should be in the ahead hours to come, with
// the lamp and the room as in the last day: od above blank as it stands in the
// vessel, draws and refills included, 80 %. end is the end of the newest whole
// hour. Nothing is returned before a density was seen.
func (r *Running) Band(s *Strain, end time.Time, ahead int) []Band {
	var w sums
	var first, last *Passed
	var out []Band
	for back := min(r.Hours, Kept) - 1; back >= 0; back-- {
		p := &r.Ring[(r.Hours-1-back)%Kept]
		if first != nil {
			w.add(p)
		}
		if !p.known() {
			continue
		}
		if first == nil {
			first = p
		}
		last = p
		at := end.Add(-time.Duration(back)*time.Hour - 30*time.Minute)
		out = append(out, r.bandOf(s, p, first, w, at))
	}
	if last == nil {
		return nil
	}
	start := min(r.Hours, 24)
	for i := range ahead {
		w.add(&r.Ring[(r.Hours-start+i%start)%Kept])
		out = append(out, r.bandOf(s, last, first, w, end.Add(time.Duration(i)*time.Hour+30*time.Minute)))
	}
	return out
}

// bandOf is the band at the end of w, on the scale on which p stood.
func (r *Running) bandOf(s *Strain, p, first *Passed, w sums, at time.Time) Band {
	g := r.gap(s, p, first, w, false)
	likely := math.Log(float64(p.Dense)) + g.Expected - g.Seen
	return Band{At: at, Interval: analysis.Interval{Low: math.Exp(likely - z80*g.Sigma), Likely: math.Exp(likely), High: math.Exp(likely + z80*g.Sigma)}}
}
