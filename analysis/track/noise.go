package track

import "math"

// Slow is the noise that lasts for hours: of a probe that warms and cools with
// the room, of film and flocs that come and go. It is read off what is left of
// the growth over a day when a line is taken out of it.
type Slow struct {
	Hours int8 // of growth it was read from at last, 0: none
	Times int8 // how often it was read
	// Square and Lag are the mean square and the mean product of neighbouring
	// hours of what is left, over the last day or so.
	Square, Lag float32
	Trend       float32 // of the growth over a day, 1/d a day
}

const (
	// slowOD and slowShare are the slow noise to be expected of a probe before
	// it has shown its own, standard deviations, as od and as a share of
	// density: the light of an LED falls by some 0.3 % a kelvin and a shelf is
	// most of a kelvin off its mean with its lamp, which makes 0.25 % of light,
	// 0.001 od; flocs and half mixed cells make half a per cent (from memory).
	slowOD    = 0.001
	slowShare = 0.005
	// slowHours is how long it is expected to last, h: as long as a room takes
	// to warm.
	slowHours = 3
	// slowWeight is for how many hours of growth that expectation counts: what a
	// lot shows in its first whole day outweighs it four to one.
	slowWeight = 6
	// filmOD is the standard error of what dirt adds to the od in a day: a
	// window that nobody wipes shows a hundredth in a week or two (from memory).
	filmOD = 0.001
	// leastHours is from how many hours of growth on a line tells anything.
	leastHours = 8
	dayHours   = 24
)

// memories are the lengths of memory that slow noise is tried for, h.
var memories = [...]float64{0.5, 1, 2, 4, 8, 16}

// kept tells, for the number of hours and each memory, which share of the
// variance of such noise is left when a line was fitted through it, and how
// much of that neighbouring hours share.
var kept = keptTable()

type share struct{ square, lag float64 }

// keptTable works out the expectation of r'r and of the sum of products of
// neighbours in r = (I-H)y, for y with correlation exp(-|i-j|/memory) and the
// projection H on a line; a textbook result of least squares.
func keptTable() (table [dayHours + 1][len(memories)]share) {
	for n := leastHours; n <= dayHours; n++ {
		for m, hours := range memories {
			table[n][m] = keptOf(n, hours)
		}
	}
	return table
}

func keptOf(n int, hours float64) share {
	mid, sxx := float64(n-1)/2, 0.0
	for i := range n {
		sxx += (float64(i) - mid) * (float64(i) - mid)
	}
	left := func(i, j int) float64 { // I-H
		v := -1/float64(n) - (float64(i)-mid)*(float64(j)-mid)/sxx
		if i == j {
			v++
		}
		return v
	}
	var corr [dayHours]float64
	for i := range corr {
		corr[i] = math.Exp(-float64(i) / hours)
	}
	var half [dayHours][dayHours]float64 // (I-H) R
	for i := range n {
		for j := range n {
			for k := range n {
				half[i][j] += left(i, k) * corr[max(k-j, j-k)]
			}
		}
	}
	var s share
	for i := range n {
		for k := range n {
			s.square += half[i][k] * left(k, i) / float64(n)
			if i+1 < n {
				s.lag += half[i][k] * left(k, i+1) / float64(n-1)
			}
		}
	}
	return s
}

// renewSlow learns from the growth over a day as it stood in each of the last
// 24 hours.
func (s *State) renewSlow(index int32) {
	var x, y, buf [dayHours]float64
	n := 0
	for k := int32(dayHours - 1); k >= 0; k-- {
		if g, _, ok := s.dayTo(index - k*perHour); ok {
			x[n], y[n] = float64(-k), g
			n++
		}
	}
	if n < leastHours {
		s.Slow.Trend = 0
		return
	}
	slope, mean, mid := line(x[:n], y[:n])
	s.Slow.Trend = float32(slope * dayHours)
	res := buf[:n]
	for i := range res {
		y[i] -= mean + slope*(x[i]-mid)
		res[i] = math.Abs(y[i])
	}
	// A single hour gone wrong is cut back to three robust deviations.
	most := 3 * 1.4826 * nth(res, n/2)
	var square, lag float64
	for i := range n {
		y[i] = max(-most, min(most, y[i]))
		square += y[i] * y[i] / float64(n)
		if i > 0 {
			lag += y[i] * y[i-1] / float64(n-1)
		}
	}
	s.Slow.Hours, s.Slow.Times = int8(n), min(s.Slow.Times+1, dayHours/2)
	w := 1 / float32(s.Slow.Times)
	s.Slow.Square += w * (float32(square) - s.Slow.Square)
	s.Slow.Lag += w * (float32(lag) - s.Slow.Lag)
}

// line fits a line: y is mean + slope*(x - mid).
func line(x, y []float64) (slope, mean, mid float64) {
	n := float64(len(x))
	for i := range x {
		mid, mean = mid+x[i]/n, mean+y[i]/n
	}
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - mid) * (x[i] - mid)
		sxy += (x[i] - mid) * (y[i] - mean)
	}
	return sxy / sxx, mean, mid
}

// slow returns the variance of the slow noise in a growth over a day between
// densities d0 and d1, and how long it lasts, h.
func (s *State) slow(d0, d1 float64) (variance, hours float64) {
	prior := 2*slowShare*slowShare + slowOD*slowOD*(1/(d0*d0)+1/(d1*d1))
	if s.Slow.Hours < leastHours || !(s.Slow.Square > 0) {
		return prior, slowHours
	}
	n := int(s.Slow.Hours)
	best, far := 0, math.Inf(1)
	for m := range memories {
		k := kept[n][m]
		if d := math.Abs(float64(s.Slow.Lag/s.Slow.Square) - k.lag/k.square); d < far {
			best, far = m, d
		}
	}
	// What a day tells counts against what is expected as its hours do.
	w := float64(n) / (float64(n) + slowWeight)
	hours = math.Exp(w*math.Log(memories[best]) + (1-w)*math.Log(slowHours))
	return w*float64(s.Slow.Square)/keptAt(n, hours) + (1-w)*prior, hours
}

// keptAt is the share of the variance that is left for a memory between those
// of the table, on a line over their logarithms.
func keptAt(n int, hours float64) float64 {
	m := 1
	for m < len(memories)-1 && hours > memories[m] {
		m++
	}
	part := math.Log(hours/memories[m-1]) / math.Log(memories[m]/memories[m-1])
	return (1-part)*kept[n][m-1].square + part*kept[n][m].square
}
