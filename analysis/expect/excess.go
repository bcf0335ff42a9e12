package expect

import "math"

// Cause is what explains best that a lot is ahead of its course.
type Cause int

// The causes that od can tell apart, by the shape of what is too much.
const (
	Unclear Cause = iota
	Hurry         // the lot itself grows faster: ahead by more in each hour of light
	Film          // dirt on the window: as much od in each hour of day and night
	Bloom         // something else: what there is of it doubles within hours, also in the dark
)

// excess is a lot over some hours beside its course from where it stood at
// their start, od above blank.
type excess struct {
	over   [Kept]float64 // what is too much
	due    [Kept]float64 // what was due
	gross  [Kept]float64 // log density grown since the start, losses left out
	weight [Kept]float64 // of an hour: 0 where nothing was seen
	n      int
	dark   int // hours in which no growth was due
}

// Why tells what explains best that the lot is ahead of its course at the end of
// the last so many hours, in which it was first on it.
func (r *Running) Why(hours int) Cause {
	e := r.excess(min(hours, r.Hours-1, Kept-1))
	if e.n < leastExcess {
		return Unclear
	}
	hurry, film, bloom := e.hurry(), e.film(), e.bloom()
	if e.dark < leastDark {
		hurry = math.Min(hurry, film) // without a night it adds to the density as growth does
		film = math.Inf(1)
	}
	switch least := math.Min(hurry, math.Min(film, bloom)); {
	case least == film && film < muchClearer*math.Min(hurry, bloom):
		return Film
	case least == bloom && bloom < clearer*math.Min(hurry, film):
		return Bloom
	case least == hurry:
		return Hurry
	}
	return Unclear
}

const (
	// leastExcess is from how many hours a shape can be told.
	leastExcess = 6
	// leastFilm is from how many hours on a film can be told.
	leastFilm = 4
	// leastDark is how many hours without growth tell a film from it.
	leastDark = 3
	// clearer is the share of the next best explanation's misfit that the best may
	// leave.
	clearer = 0.8
	// muchClearer is the same for a film: who is told to wipe a probe looks no
	// further, and who looks through a microscope sees that there is nothing.
	muchClearer = 0.5
)

func (r *Running) excess(hours int) (e excess) {
	first := -1
	log, gross := 0.0, 0.0
	for back := hours; back >= 0; back-- {
		p := &r.Ring[(r.Hours-1-back)%Kept]
		if first >= 0 {
			rate := float64(p.Rate)
			for i, slope := range p.Slope {
				rate += float64(slope) * r.Off[i]
			}
			log += rate * hourDays
			gross += math.Max(rate, 0) * hourDays
			if rate <= 0 {
				e.dark++
			}
		}
		if !p.known() {
			continue
		}
		if first < 0 {
			first, log = back, float64(p.Log)
		}
		k := first - back
		x := math.Exp(float64(p.Log))
		e.over[k], e.due[k], e.gross[k] = x-math.Exp(log), math.Exp(log), gross
		e.weight[k] = 1 / (x * x * p.error2())
		e.n = k + 1
	}
	return e
}

// fit is what a shape leaves of the excess, weighted, at its best height; a
// height below zero explains nothing.
func (e *excess) fit(shape func(k int) float64) float64 {
	var xy, xx, yy float64
	for k := range e.n {
		s := shape(k)
		xy += e.weight[k] * s * e.over[k]
		xx += e.weight[k] * s * s
		yy += e.weight[k] * e.over[k] * e.over[k]
	}
	if xx == 0 || xy <= 0 {
		return yy
	}
	return yy - xy*xy/xx
}

// hurry: at a pace greater by one share throughout.
func (e *excess) hurry() float64 {
	left := func(more float64) float64 {
		return e.left(func(k int) float64 { return e.due[k] * math.Expm1(more*e.gross[k]) })
	}
	low, high := 0.0, hurryMost
	for range 12 { // to a hundredth, by the golden section
		a, b := high-golden*(high-low), low+golden*(high-low)
		if left(a) < left(b) {
			high = b
		} else {
			low = a
		}
	}
	return left((low + high) / 2)
}

const (
	golden = 0.6180339887498949
	// hurryMost is by which share of its growth a lot may be faster than its course
	// at the most: more than twice is another culture.
	hurryMost = 1.5
)

// left is what a shape of known height leaves.
func (e *excess) left(shape func(k int) float64) float64 {
	sum := 0.0
	for k := range e.n {
		d := e.over[k] - shape(k)
		sum += e.weight[k] * d * d
	}
	return sum
}

// film: from some hour on by the same each hour.
func (e *excess) film() float64 {
	best := math.Inf(1)
	for from := 0; from+leastFilm <= e.n; from++ {
		best = math.Min(best, e.fit(func(k int) float64 { return math.Max(0, float64(k-from)) }))
	}
	return best
}

// bloom: doubling every 3 to 12 hours, as bacteria do at such temperatures (from
// memory).
func (e *excess) bloom() float64 {
	best := math.Inf(1)
	for _, doubling := range [...]float64{3, 4, 6, 8, 12} {
		best = math.Min(best, e.fit(func(k int) float64 { return math.Exp2(float64(k-e.n) / doubling) }))
	}
	return best
}
