package judge

import (
	"math"

	"github.com/nightshelf/nightshelf/analysis/expect"
)

// Limits are by how many standard errors a lot must be off its course, in each
// of expect.Windows, to be accused of each thing.
type Limits [accusations][len(expect.Windows)]float64

// What a culture is accused of.
const (
	falling = iota
	behindCourse
	aheadOfCourse
	accusations
)

// shares are the shares of the culture's false calls that each accusation gets.
// What falls must have lost cells, and what runs ahead must have the shape of
// something that grows, which the course alone does not make; staying behind
// rests on the course alone.
var shares = [accusations]float64{falling: 0.1, behindCourse: 0.8, aheadOfCourse: 0.1}

const (
	// cultureShare is the share of the false calls that a room bears which its
	// cultures may make; the rest is for surroundings and sensors.
	cultureShare = 0.75
	// families of windows: within half a day, over days, and against all lots of
	// the strain. Each gets the same share, in which its windows are one long
	// look.
	families   = 3
	monthHours = 30.4 * 24
	// monthLots is how many lots a vessel sees in a month: a week each and a day
	// or two to make ready (common practice). What a lot is beside the others of
	// its strain is drawn once in its life, and looked at while young and when
	// grown.
	monthLots, lotLooks = 3.5, 2

	usualCalls, usualVessels = 1, 12
)

// LimitsOf shares out the false calls a month that a room of so many vessels
// bears. A window of n hours tells something new about every n/2 hours. The
// errors are taken to be normal; that the course's own are made wide enough
// for it is what reference lots are left out for, one by one.
func LimitsOf(falseCalls float64, vessels int) (l Limits) {
	if !(falseCalls > 0) {
		falseCalls = usualCalls
	}
	if vessels <= 0 {
		vessels = usualVessels
	}
	var looks [families]float64
	for _, w := range expect.Windows {
		if f := family(w); f != strange {
			looks[f] += 2 * monthHours / float64(w.Hours)
		}
	}
	looks[strange] = monthLots * lotLooks
	for a, share := range shares {
		each := share * cultureShare * falseCalls / (families * float64(vessels))
		for k, w := range expect.Windows {
			l[a][k] = math.Sqrt2 * math.Erfinv(1-2*math.Min(each/looks[family(w)], 0.25))
		}
	}
	return l
}

const (
	short = iota
	long
	strange
)

// halfDay parts short windows from long ones, h.
const halfDay = 12

func family(w expect.Window) int {
	switch {
	case w.Strange:
		return strange
	case w.Hours < halfDay:
		return short
	}
	return long
}

var usualLimits = LimitsOf(usualCalls, usualVessels)

func (b *bench) limits() *Limits {
	if b.Limits != nil {
		return b.Limits
	}
	return &usualLimits
}
