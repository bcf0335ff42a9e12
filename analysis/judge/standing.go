package judge

import (
	"math"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/analysis/track"
)

const (
	// standingLeast is how many hours of standing medium tell its noise.
	standingLeast = 6
	// leastNoise is what three decimals of od resolve.
	leastNoise = 0.0005
)

// standing is the standard deviation of an hour's od in the standing medium of
// the day before hour, and how many hours told it.
func (b *bench) standing(hour int64) (noise float64, n int) {
	var seen [dayHours]float64
	for h := hour - dayHours; h < hour; h++ {
		if od, ok := b.hourOD(h); ok && od < track.StandingMost {
			seen[n] = od
			n++
		}
	}
	if n == 0 {
		return leastNoise, 0
	}
	hours := seen[:n]
	slices.Sort(hours)
	mid := hours[n/2]
	for i, od := range hours {
		hours[i] = math.Abs(od - mid)
	}
	slices.Sort(hours)
	// 1.4826 median deviations are a normal's standard deviation.
	return math.Max(1.4826*hours[n/2], leastNoise), n
}

// hourOD is the median od of an hour.
func (b *bench) hourOD(hour int64) (od float64, ok bool) {
	var seen [hourBins]float64
	n := 0
	for k := range hourBins {
		if bin, kept := b.Track.Bin(int32(hour*hourBins + k)); kept && bin.Count > 0 {
			seen[n] = float64(bin.OD)
			n++
		}
	}
	if 2*n < int(hourBins) {
		return math.NaN(), false
	}
	slices.Sort(seen[:n])
	return seen[n/2], true
}

const (
	dayHours = 24
	hourBins = int64(time.Hour / track.BinLength)
)
