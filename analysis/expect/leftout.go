package expect

import (
	"math"
	"slices"
)

// Trial is one forecast of a reference lot by the others, held against what
// came: when it was first at Ready.
type Trial struct {
	Lot    string
	Age    int     // hours of the record that the forecast knew
	Low    float64 // hours from then, 80 % interval
	Likely float64
	High   float64
	Came   float64 // hours from then
}

// Inside reports whether the interval holds what came.
func (t Trial) Inside() bool { return t.Low <= t.Came && t.Came <= t.High }

// beside is how far what came lies from what was likely, in half widths of the
// interval to that side.
func (t Trial) beside() float64 {
	side := t.High - t.Likely
	if t.Came < t.Likely {
		side = t.Likely - t.Low
	}
	if math.IsInf(side, 1) || math.IsNaN(side) || side <= 0 {
		return math.NaN()
	}
	return math.Abs(t.Came-t.Likely) / side
}

const (
	trialFrom  = 48 // hours of a record that the first trial knows
	trialEvery = 24
	trialMost  = 7 * 24 // hours ahead
	trialLeast = 12
)

// trials forecasts one record by what is held of its strain.
func (s *Strain) trials(r *Record) []Trial {
	came := r.reached()
	var out []Trial
	for n := trialFrom; n < min(len(r.OD), len(r.Hours)) && n+trialLeast <= came; n += trialEvery {
		if came-n > trialMost {
			continue
		}
		known := *r
		known.OD, known.Hours = r.OD[:n], r.Hours[:n]
		lot := s.lot(&known, nil)
		within, ok := lot.Harvest(r.target(), r.Hours[n:])
		if !ok {
			continue
		}
		out = append(out, Trial{Lot: r.Lot, Age: n, Low: within.Low, Likely: within.Likely, High: within.High, Came: float64(came-n) + 0.5})
	}
	return out
}

// target is the density at which the lot was to be harvested, or half of the
// most it came to.
func (r *Record) target() float64 {
	if r.Ready > 0 {
		return r.Ready
	}
	most := 0.0
	for i := 1; i+1 < len(r.OD); i++ {
		most = math.Max(most, r.around(i))
	}
	return most / 2
}

// around is the median od of three hours, 0 where one is not known.
func (r *Record) around(i int) float64 {
	v := []float64{r.OD[i-1], r.OD[i], r.OD[i+1]}
	slices.Sort(v)
	if math.IsNaN(v[0]) { // NaN sorts first
		return 0
	}
	return v[1]
}

// reached is the hour in which the target was first reached, -1 for never or
// after a step, which a forecast cannot know of.
func (r *Record) reached() int {
	want := r.target()
	for i := 1; i+1 < len(r.OD); i++ {
		now, before := r.OD[i], r.OD[i-1]
		if now < before*(1-stepLog) && before > 10*NoiseUsual && i > trialFrom {
			return -1
		}
		if r.around(i) >= want {
			return i
		}
	}
	return -1
}

// LeaveOut forecasts every reference lot by the others of its strain and
// medium, as its band would have been given without it.
func LeaveOut(records []Record) []Trial { return leaveOut(records, len(records), differ(records)) }

// leftOutMost is how many lots of a strain, the newest, are left out to learn
// the width of bands: each costs another learning from all others.
const leftOutMost = 12

func leaveOut(records []Record, most int, own vector) []Trial {
	var out []Trial
	for _, recs := range group(records) {
		leftOut(recs, most, own, func(s *Strain, r *Record) { out = append(out, s.trials(r)...) })
	}
	return out
}

// leftOut calls try for the newest records of a strain, with what is held of the
// strain without that one.
func leftOut(recs []*Record, most int, own vector, try func(s *Strain, r *Record)) {
	for i := max(0, len(recs)-most); i < len(recs); i++ {
		s := learn(slices.Delete(slices.Clone(recs), i, i+1), own)
		try(&s, recs[i])
	}
}

const (
	// usualTrials is how many trials it takes to be believed half against the
	// law's own reckoning: lots of one strain err alike.
	usualTrials = 20
	// holds is the share of trials that the interval is to hold.
	holds = 0.8
)

// widen is the factor that brings intervals to hold what they say they hold,
// by the trials made.
func widen(trials []Trial) float64 {
	var beside []float64
	for _, t := range trials {
		if b := t.beside(); b >= 0 {
			beside = append(beside, b)
		}
	}
	if len(beside) == 0 {
		return 1
	}
	slices.Sort(beside)
	n := float64(len(beside))
	return math.Pow(math.Max(quantile(beside, holds), 0.1), n/(n+usualTrials))
}
