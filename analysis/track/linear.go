package track

import (
	"math"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// A photodiode sees less of a dark culture than there is: it reads
// r = d / (1 + q d) of a density d, in od above blank, so that
// d = r / (1 - q r), the usual empirical correction with q = 1/od_max. q is
// read off a dilution series; without one it is 0, and growth is that of the
// od as the probe shows it: low by the share q d where the culture is dark.

const (
	// shareError is the relative error of a share in a dilution series (from
	// memory: two fills of a measuring cylinder), readError and readShare that
	// of the od read, as od and as a share.
	shareError = 0.02
	readError  = 0.002
	readShare  = 0.01
	// leastSteps is how many dilutions tell a curve from a line, and leastSpan
	// how far apart the first and last of them must be.
	leastSteps = 3
	leastSpan  = 2
	// mostBend is the greatest share of a reading that is believed: beyond it
	// a probe sees nothing more, and its noise would be blown up tenfold.
	mostBend = 0.9
)

// density is the linearised od of a raw one, less the blank.
func (s *State) density(od float64) float64 {
	r := od - s.Blank
	return r / (1 - min(s.Bend*max(r, 0), mostBend))
}

// steep is by how much the logarithm of the density changes more than that of
// the reading above blank.
func (s *State) steep(od float64) float64 {
	return 1 / (1 - min(s.Bend*max(od-s.Blank, 0), mostBend))
}

// bend takes the dilution series that was read when a probe was fitted.
func (s *State) bend(e ingest.Entry) {
	s.Bend, s.BendError = 0, 0
	series, err := logbook.Series(e.Str("series"))
	if err != nil {
		return // the logbook has said so
	}
	blank := s.Blank
	for _, d := range series {
		if d.Share == 0 {
			blank = d.OD
		}
	}
	if q, sigma, ok := bendOf(series, blank); ok {
		s.Bend, s.BendError = q, sigma
	}
}

// bendOf fits y = c x / (1 + q c x) as the line y/x = c - q c y, each point
// weighted by its effective variance from the errors in share and od (York
// 1966 in the form of iterated weights), and returns q, 1/od, at least 0.
func bendOf(series []logbook.Dilution, blank float64) (q, sigma float64, ok bool) {
	var x, y []float64
	low, high := math.Inf(1), 0.0
	for _, d := range series {
		if d.Share > 0 && d.OD-blank > 3*readError {
			x, y = append(x, d.Share), append(y, d.OD-blank)
			low, high = min(low, d.Share), max(high, d.Share)
		}
	}
	if len(x) < leastSteps || high < leastSpan*low {
		return 0, 0, false
	}
	var c, slope, sc, ss, cov float64
	for range 5 {
		var w, wy, wz float64
		weight := make([]float64, len(x))
		for i := range x {
			ey := math.Hypot(readError, readShare*y[i])
			v := math.Hypot((1/x[i]-slope)*ey, y[i]/x[i]*shareError)
			weight[i] = 1 / (v * v)
			w, wy, wz = w+weight[i], wy+weight[i]*y[i], wz+weight[i]*y[i]/x[i]
		}
		my, mz := wy/w, wz/w
		var syy, syz float64
		for i := range x {
			syy += weight[i] * (y[i] - my) * (y[i] - my)
			syz += weight[i] * (y[i] - my) * (y[i]/x[i] - mz)
		}
		if !(syy > 0) {
			return 0, 0, false
		}
		slope = syz / syy
		c = mz - slope*my
		ss, sc, cov = 1/syy, 1/w+my*my/syy, -my/syy
	}
	if !(c > 0) {
		return 0, 0, false
	}
	q = -slope / c
	sigma = math.Sqrt(max(0, ss+q*q*sc+2*q*cov)) / c
	return max(q, 0), sigma, true
}
