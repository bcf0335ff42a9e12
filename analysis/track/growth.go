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

// LogDensity returns the logarithm of the density of a bin with all steps
// taken out, and its standard error; ok is false where the density does not
// stand out of noise and blank by three standard errors.
func (s *State) LogDensity(b Bin) (log, sigma float64, ok bool) {
	d := float64(b.OD) - s.Blank
	noise := math.Hypot(float64(b.Noise), s.BlankNoise/3)
	if b.Count == 0 || d < 3*noise || d <= 0 {
		return math.NaN(), math.NaN(), false
	}
	steep := s.steep(float64(b.OD))
	return math.Log(d*steep) + float64(b.Shift), noise / d * steep, true
}

// levelMost is up to how many bins a level needs no memory of its own.
const levelMost = 24

// Level returns the median log density of the n bins that end with index, and
// its standard error; ok is false where fewer than half of them tell.
func (s *State) Level(index, n int32) (log, sigma float64, ok bool) {
	var small [2][levelMost]float64 // an hour or so: what is asked for by far the most
	logs, noise := small[0][:], small[1][:]
	if n > levelMost {
		logs, noise = make([]float64, n), make([]float64, n)
	}
	k := 0
	for i := index - n + 1; i <= index; i++ {
		b, kept := s.Bin(i)
		if !kept || !s.within(b) {
			continue
		}
		if l, e, fine := s.LogDensity(b); fine {
			logs[k], noise[k] = l, e
			k++
		}
	}
	if k == 0 || int32(2*k) < n {
		return math.NaN(), math.NaN(), false
	}
	slices.Sort(logs[:k])
	slices.Sort(noise[:k])
	// 1.25: the median's standard error over the mean's for normal noise.
	return logs[k/2], 1.25 * noise[k/2] / math.Sqrt(float64(k)), true
}

// within reports whether the bin lies wholly within the present lot.
func (s *State) within(b Bin) bool {
	return s.Since != 0 && int64(b.Index)*BinLength.Milliseconds() >= s.Since
}

// renew works the growth rates and the phase out again.
func (s *State) renew() {
	if s.Lot == "" {
		return
	}
	if s.Latest%perHour == 0 {
		s.renewSlow(s.Latest)
		s.renewLamp(s.Latest)
	}
	s.Day = s.overDay(s.Latest)
	s.Hours = s.slope(s.Latest, 3*perHour, 1)
	if level, _, ok := s.Level(s.Latest, perHour); ok && math.IsNaN(s.StartLog) {
		s.StartLog = level
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
	return Rate{PerDay: mid + s.Slow.Trend*back/float64(n)/dayHours, Error: s.dayError(index, n, white, diff[n-1]-diff[0])}
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
	var corr, weight [dayHours]float64
	for k := range corr {
		corr[k] = math.Exp(-float64(k) / hours)
	}
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
	sum := 0.0
	for i := range dayHours {
		for j := range i {
			sum += 2 * weight[i] * weight[j] * corr[i-j]
		}
		sum += weight[i] * weight[i]
	}
	return sum
}

// thick is the density above blank in the hour that ends with index.
func (s *State) thick(index int32) (float64, bool) {
	sum, n := 0.0, 0
	for i := index - perHour + 1; i <= index; i++ {
		if b, ok := s.Bin(i); ok && b.Count > 0 && s.within(b) {
			if d := s.density(float64(b.OD)); d > 0 {
				sum += d
				n++
			}
		}
	}
	if n == 0 {
		return 0, false
	}
	return sum / float64(n), true
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

// slope is the net specific growth rate over the span bins that end with
// index, by Theil and Sen's median of pairwise slopes over medians of stride
// bins each (Sen 1968, J. Am. Stat. Assoc. 63:1379-1389). Unknown unless the
// lot has run for most of the span.
func (s *State) slope(index, span, stride int32) Rate {
	var x, y [bins]float64
	n := 0
	for i := index - span + stride; i <= index; i += stride {
		if l, _, ok := s.Level(i, stride); ok {
			x[n], y[n] = float64(i-stride/2)/float64(perDay), l
			n++
		}
	}
	points := int(span / stride)
	if n < 4 || 4*n < 3*points {
		return Rate{math.NaN(), math.NaN()}
	}
	return theilSen(x[:n], y[:n])
}

// Slope is the net specific growth rate since a time, Unix ms, as a line; as
// unknown as slope's, and no further back than bins are kept.
func (s *State) Slope(since int64) Rate {
	span := min(s.Latest-binIndex(since), int32(bins)-1)
	if span < 4 {
		return Rate{math.NaN(), math.NaN()}
	}
	return s.slope(s.Latest, span, 1)
}

func theilSen(x, y []float64) Rate {
	var pairs [bins]float64
	all := pairs[:0]
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			all = append(all, (y[j]-y[i])/(x[j]-x[i]))
		}
	}
	slices.Sort(all)
	m := len(all)
	slope := all[m/2]
	return Rate{PerDay: slope, Error: slopeError(x, y, slope)}
}

// slopeError is the standard error of a slope from the robust spread of the
// residuals. Neighbouring residuals hang together (day and night, slow noise),
// so it is doubled: an allowance for correlation, to be measured later.
func slopeError(x, y []float64, slope float64) float64 {
	var buf [bins]float64
	res := buf[:len(x)]
	mean := 0.0
	for i := range x {
		mean += x[i] / float64(len(x))
		res[i] = y[i] - slope*x[i]
	}
	slices.Sort(res)
	mid := res[len(res)/2]
	sxx := 0.0
	for i := range x {
		sxx += (x[i] - mean) * (x[i] - mean)
		res[i] = math.Abs(res[i] - mid)
	}
	slices.Sort(res)
	sigma := 1.4826 * res[len(res)/2]
	return 2 * sigma / math.Sqrt(sxx)
}
