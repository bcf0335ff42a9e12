package track

import (
	"math"
	"slices"
	"time"
)

const (
	perHour = int32(time.Hour / BinLength)
	perDay  = 24 * perHour
)

// renew works the growth rates and the phase out again.
func (s *State) renew() {
	if s.Lot == "" {
		return
	}
	if s.Latest%perHour == 0 {
		s.renewSlow(s.Latest)
	}
	s.Day = s.overDay(s.Latest)
	s.Hours = s.slope(s.Latest, 3*perHour)
	if math.IsNaN(s.StartLog) {
		if level, _, ok := s.Level(s.Latest, perHour); ok {
			s.StartLog = level
		}
	}
	if g := s.Day.PerDay; g > 0 && !(s.Pace >= g) {
		s.Pace = g
	}
	s.renewStage()
}

// dayTo is what the level of the hour that ends with index differs by from
// that of the same hour a day before.
func (s *State) dayTo(index int32) (growth, sigma float64, ok bool) {
	now, e1, ok1 := s.Level(index, perHour)
	before, e2, ok2 := s.Level(index-perDay, perHour)
	return now - before, math.Hypot(e1, e2), ok1 && ok2
}

// overDay is the net specific growth rate over a whole day that ends with
// index: what the level of an hour differs by from that of the same hour a day
// before, so that every hour of the lamp counts once whatever the hour it is
// asked at (a line through the day would lean to the part that is longer).
// The median of the newest three such differences, brought on to now along
// their course.
func (s *State) overDay(index int32) Rate {
	var diff [3]float64
	white, back, n := 0.0, 0.0, 0
	for k := range int32(len(diff)) {
		if g, e, ok := s.dayTo(index - k*perHour); ok {
			diff[n], white = g, max(white, e)
			back += float64(k) + 0.5 // the middle of an hour is half an hour back
			n++
		}
	}
	if n == 0 {
		return Rate{math.NaN(), math.NaN()}
	}
	slices.Sort(diff[:n])
	mid := diff[n/2]
	return Rate{PerDay: mid + float64(s.Slow.Trend)*back/float64(n)/dayHours, Error: s.dayError(index, n, white, diff[n-1]-diff[0])}
}

// dayError is the standard error of the growth over a day from n hourly
// differences: the noise of the readings, slow noise with its own memory, the
// blank and the dirt on the window, which weigh the more the thinner the
// culture was, and the steps taken out in that day.
func (s *State) dayError(index int32, n int, white, apart float64) float64 {
	d1, ok1 := s.thick(index)
	d0, ok0 := s.thick(index - perDay)
	if !ok1 || !ok0 {
		return 2 * max(white, apart/4)
	}
	variance, hours := s.slow(d0, d1)
	variance *= s.gain(n, hours)
	variance += white * white / float64(n)
	thin := 1/d0 - 1/d1
	blank := s.blankError() * thin
	bent := s.BendError * (d1 - d0) // d ln(density)/dq is the density
	clean := s.Wiped                // days since dirt began to gather
	dirt := filmOD * (days(s.At-clean)/d1 - days(s.At-clean-(24*time.Hour).Milliseconds())/d0)
	if clean == 0 || days(s.At-clean) < 1 {
		dirt = filmOD / d1
	}
	return math.Sqrt(variance + blank*blank + bent*bent + dirt*dirt + s.stepVariance())
}

// gain is the variance of the growth over a day, brought on to now, in units of
// that of one hourly difference, for slow noise of this memory in h: of the
// mean of the newest n hours and of the line that brings it on.
func (s *State) gain(n int, hours float64) float64 {
	var weight [dayHours]float64
	for k := range n {
		weight[k] = 1 / float64(n)
	}
	if m := int(s.Slow.Hours); s.Slow.Trend != 0 && m >= leastHours {
		mid := float64(m-1) / 2
		sxx := float64(m*(m*m-1)) / 12
		for k := range m { // n/2 hours from the middle of the newest n to now
			weight[k] += (mid - float64(k)) / sxx * float64(n) / 2
		}
	}
	// The sum of w_i w_j q^|i-j|, each w against those before it.
	q, before, sum := math.Exp(-1/hours), 0.0, 0.0
	for _, w := range weight {
		sum += w*w + 2*w*before
		before = q * (before + w)
	}
	return sum
}

// blankError is the standard error of the blank: of its bins, as many as their
// slow noise leaves independent.
func (s *State) blankError() float64 {
	if s.BlankBins == 0 {
		return s.BlankNoise
	}
	free := max(1, float64(s.BlankBins)/(2*slowHours*float64(perHour)))
	return math.Max(s.BlankNoise/math.Sqrt(free), 0.0005) // three decimals of od
}

// slope is the net specific growth rate over the n bins that end with index, by
// Theil and Sen's median of pairwise slopes (Sen 1968, J. Am. Stat. Assoc.
// 63:1379-1389) over bins, or over half hours where there are not all of them
// any more. Unknown unless the lot has run for most of the time.
func (s *State) slope(index, n int32) Rate {
	first := index - n + 1
	if first < s.oldest() {
		return s.slopeOfHalves(first, index)
	}
	var x, y [fine]float64
	k := 0
	for i := max(first, s.starts()); i <= index; i++ {
		b := *s.fineAt(i)
		if b.count() == 0 {
			continue
		}
		if l, _, ok := s.logOf(float64(b.OD.float()), float64(noises[b.Noise])); ok {
			x[k], y[k] = float64(i)/float64(perDay), l+float64(s.shift(i))
			k++
		}
	}
	if k < 4 || 4*k < 3*int(n) {
		return Rate{math.NaN(), math.NaN()}
	}
	if k <= hoursMost {
		var pairs [hoursMost * (hoursMost - 1) / 2]float64
		return theilSen(x[:k], y[:k], pairs[:0])
	}
	var pairs [fine * (fine - 1) / 2]float64
	return theilSen(x[:k], y[:k], pairs[:0])
}

// hoursMost is how many bins the rate of the last hours is taken from: it is
// asked for at every bin, so it has a smaller room to work in.
const hoursMost = int(3 * perHour)

func (s *State) slopeOfHalves(first, last int32) Rate {
	var x, y [halves + fine/perHalf]float64
	k := 0
	from := (first + perHalf - 1) / perHalf
	to := (last + 1) / perHalf // the first that is not whole
	for half := from; half < to; half++ {
		if l, _, ok := s.levelOfHalves(half*perHalf, half*perHalf+perHalf-1); ok {
			x[k], y[k] = float64(half*perHalf+1)/float64(perDay), l
			k++
		}
	}
	if k < 4 || 4*k < 3*int(to-from) {
		return Rate{math.NaN(), math.NaN()}
	}
	var pairs [len(x) * (len(x) - 1) / 2]float64
	return theilSen(x[:k], y[:k], pairs[:0])
}

// Slope is the net specific growth rate since a time, Unix ms, as a line; as
// unknown as slope's, and no further back than bins are kept.
func (s *State) Slope(since int64) Rate {
	n := min(s.Latest-binIndex(since), span-1)
	if n < 4 {
		return Rate{math.NaN(), math.NaN()}
	}
	return s.slope(s.Latest, n)
}

// theilSen takes the slopes into all, which has room for every pair.
func theilSen(x, y, all []float64) Rate {
	// Pairs that lie near each other say the least and are the most.
	near := max(len(x)/3, 1)
	for i := range x {
		for j := i + near; j < len(x); j++ {
			all = append(all, (y[j]-y[i])/(x[j]-x[i]))
		}
	}
	slope := nth(all, len(all)/2)
	return Rate{PerDay: slope, Error: slopeError(x, y, slope)}
}

// slopeError is the standard error of a slope from the robust spread of the
// residuals. Neighbouring residuals hang together (day and night, slow noise),
// so it is doubled: an allowance for correlation, to be measured later.
func slopeError(x, y []float64, slope float64) float64 {
	var buf [halves + fine/perHalf]float64
	res := buf[:len(x)]
	mean := 0.0
	for i := range x {
		mean += x[i] / float64(len(x))
		res[i] = y[i] - slope*x[i]
	}
	mid := nth(res, len(res)/2)
	sxx := 0.0
	for i := range x {
		sxx += (x[i] - mean) * (x[i] - mean)
		res[i] = math.Abs(res[i] - mid)
	}
	sigma := 1.4826 * nth(res, len(res)/2)
	return 2 * sigma / math.Sqrt(sxx)
}
