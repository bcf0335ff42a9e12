package track

import (
	"math"

	"github.com/nightshelf/nightshelf/ingest"
)

const (
	darkUnknown int8 = iota
	dark
	lit
)

// litFrom is the light, umol m-2 s-1, from which on a bin counts as lit: about
// where photosynthesis makes up for respiration (from memory: 1 to 10).
const litFrom = 5

// leastParts is how many hours of light, and of dark, must be among the last
// 24 for growth to be told apart in them.
const leastParts = 3

// lamp says whether light fell on the vessel when it was last measured.
func (s *State) lamp() int8 {
	n := &s.Newest[ingest.Light]
	switch {
	case n.At == 0 || s.At-n.At > staleAfter:
		return darkUnknown
	case n.Median() >= litFrom:
		return lit
	}
	return dark
}

// apart tells the growth in the light from the loss in the dark over the
// last 24 whole hours: least squares of the level of each hour on the time spent
// in the light and in the dark since, with the errors that noise of the lot's
// own size and memory gives them, 1/d of the time spent in each. It is asked
// for by people, not at every bin, so it is not kept.
func (s *State) apart() (light, night Rate) {
	index := s.Latest / perHour * perHour
	nan := math.NaN()
	light, night = Rate{nan, nan}, Rate{nan, nan}
	var y [dayHours]float64
	var x [dayHours][2]float64 // days of light, and of dark, since the first
	var at [dayHours]float64   // h
	var spent [2]float64
	n := 0
	for i := index - perDay + 1; i <= index; i++ {
		share, ok := s.shone(i)
		if !ok {
			return light, night
		}
		spent[0] += share / float64(perDay)
		spent[1] += (1 - share) / float64(perDay)
		if (index-i)%perHour != 0 {
			continue
		}
		// The level is that of the middle of its hour.
		if l, _, ok := s.Level(i, perHour); ok {
			y[n], at[n] = l, float64(i)/float64(perHour)
			later := s.litHalf(i)
			x[n] = [2]float64{spent[0] - later, spent[1] - (0.5/dayHours - later)}
			n++
		}
	}
	if n < dayHours*3/4 || spent[0]*dayHours < leastParts || spent[1]*dayHours < leastParts {
		return light, night
	}
	return s.parts(at[:n], x[:n], y[:n])
}

// litHalf is the time in the light in the later half of the hour that ends
// with index, days.
func (s *State) litHalf(index int32) float64 {
	sum := 0.0
	for i := index - perHour/2 + 1; i <= index; i++ {
		share, _ := s.shone(i)
		sum += share
	}
	return sum / float64(perDay)
}

// parts fits y = a + light*x0 + dark*x1.
func (s *State) parts(at []float64, x [][2]float64, y []float64) (light, night Rate) {
	n := float64(len(y))
	var mx [2]float64
	my := 0.0
	for i := range y {
		mx[0], mx[1], my = mx[0]+x[i][0]/n, mx[1]+x[i][1]/n, my+y[i]/n
	}
	var a, b, c, u, v float64 // of the normal equations
	for i := range y {
		p, q, r := x[i][0]-mx[0], x[i][1]-mx[1], y[i]-my
		a, b, c, u, v = a+p*p, b+p*q, c+q*q, u+p*r, v+q*r
	}
	det := a*c - b*b
	if !(det > 1e-9) {
		return Rate{math.NaN(), math.NaN()}, Rate{math.NaN(), math.NaN()}
	}
	g := [2]float64{(c*u - b*v) / det, (a*v - b*u) / det}
	// What each level weighs in the two rates, and what is left of it.
	var w [dayHours][2]float64
	left := 0.0
	for i := range y {
		p, q := x[i][0]-mx[0], x[i][1]-mx[1]
		w[i] = [2]float64{(c*p - b*q) / det, (a*q - b*p) / det}
		r := y[i] - my - g[0]*p - g[1]*q
		left += r * r / (n - 3)
	}
	d, ok := s.thick(s.Latest)
	if !ok {
		return Rate{math.NaN(), math.NaN()}, Rate{math.NaN(), math.NaN()}
	}
	variance, hours := s.slow(d, d)
	// A growth over a day holds the noise of two levels. A course that is no
	// two straight lines is told by what is left.
	variance = max(variance/2, left)
	var sum [2]float64
	for i := range y {
		for j := range y {
			r := math.Exp(-math.Abs(at[i]-at[j]) / hours)
			sum[0] += w[i][0] * w[j][0] * r
			sum[1] += w[i][1] * w[j][1] * r
		}
	}
	// A wrong blank makes all rates wrong by one share. A step weighs as two
	// levels do, one on either side of it, at most.
	blank := s.blankError() / d
	var errs [2]float64
	for k := range errs {
		reach := 0.0
		for i := range y {
			reach += math.Abs(w[i][k]) / 2
		}
		errs[k] = math.Sqrt(sum[k]*variance + blank*blank*g[k]*g[k] + s.stepVariance()*reach*reach)
	}
	return Rate{g[0], errs[0]}, Rate{g[1], errs[1]}
}
