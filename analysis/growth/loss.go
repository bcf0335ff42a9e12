package growth

import "math"

// Loss is how much a residual counts.
type Loss int

// The losses.
const (
	Squares Loss = iota // least squares
	Huber               // far residuals count by their size, not its square (Huber 1964)
	Tukey               // residuals beyond 4.685 spreads count nothing (Beaton and Tukey 1974)
)

// Turning points in spreads, each for 95 % efficiency under normal noise, and
// the spread of normal noise over its median absolute deviation.
const (
	huberAt = 1.345
	tukeyAt = 4.685
	perMAD  = 1.482602218505602 // 1/qnorm(0.75)
)

// weight is psi(u)/u of a residual of u spreads.
func (l Loss) weight(u float64) float64 {
	u = math.Abs(u)
	switch {
	case l == Huber && u > huberAt:
		return huberAt / u
	case l == Tukey && u >= tukeyAt:
		return 0
	case l == Tukey:
		v := 1 - (u/tukeyAt)*(u/tukeyAt)
		return v * v
	}
	return 1
}

// bend is psi'(u).
func (l Loss) bend(u float64) float64 {
	u = math.Abs(u)
	switch {
	case l == Huber && u > huberAt, l == Tukey && u >= tukeyAt:
		return 0
	case l == Tukey:
		q := (u / tukeyAt) * (u / tukeyAt)
		return (1 - q) * (1 - 5*q)
	}
	return 1
}

// rho is what a residual of u spreads costs; u^2/2 near zero.
func (l Loss) rho(u float64) float64 {
	u = math.Abs(u)
	switch {
	case l == Huber && u > huberAt:
		return huberAt*u - huberAt*huberAt/2
	case l == Tukey && u >= tukeyAt:
		return tukeyAt * tukeyAt / 6
	case l == Tukey:
		v := 1 - (u/tukeyAt)*(u/tukeyAt)
		return tukeyAt * tukeyAt / 6 * (1 - v*v*v)
	}
	return u * u / 2
}

// spread is what takes the place of the residual standard deviation in the
// covariance (Huber 1981, Robust Statistics, section 7.6): the size of psi
// over its mean slope, with Huber's correction for k parameters.
func (l Loss) spread(residuals []float64, scale float64, k int) float64 {
	n := float64(len(residuals))
	if !(scale > 0) || len(residuals) <= k {
		return 0
	}
	size, mean, square := 0.0, 0.0, 0.0
	for _, r := range residuals {
		u := r / scale
		psi := l.weight(u) * r
		b := l.bend(u)
		size += psi * psi
		mean += b / n
		square += b * b / n
	}
	variance := (square - mean*mean) * n / (n - 1)
	kappa := 1 + float64(k)*variance/(n*mean*mean)
	return math.Sqrt(size/(n-float64(k))) * kappa / mean
}

// mad is the spread of residuals about zero by their median absolute value.
func mad(residuals []float64) float64 {
	a := make([]float64, len(residuals))
	for i, r := range residuals {
		a[i] = math.Abs(r)
	}
	return perMAD * median(a)
}

// Rounds of reweighting, and the change of weights at which they are settled.
const (
	mostRounds    = 60
	settledWeight = 1e-7
)

// reweigh goes on from plain least squares to the robust loss: spread from the
// residuals, weights from the spread, fit with the weights, and again until
// they stand. Tukey's weights start where Huber's stand, for they hold on to
// whatever they begin with.
func (s *search) reweigh(end ending, o Options) (ending, float64) {
	losses := []Loss{o.Loss}
	if o.Loss == Tukey {
		losses = []Loss{Huber, Tukey}
	}
	scale := math.NaN()
	for _, l := range losses {
		end, scale = s.rounds(l, end, o)
	}
	return end, scale
}

func (s *search) rounds(l Loss, end ending, o Options) (ending, float64) {
	for range mostRounds {
		r := s.residuals()
		scale := mad(r)
		if !(scale > 0) || s.exact() {
			return end, scale
		}
		change := 0.0
		for i := range r {
			w := l.weight(r[i] / scale)
			change = math.Max(change, math.Abs(w-s.w[i]))
			s.w[i] = w
		}
		s.plain, s.robust, s.whole = false, true, math.NaN()
		if change < settledWeight {
			return end, scale
		}
		s.evaluate(&s.at)
		end = s.descend(o, nearDamping)
	}
	return exhausted, mad(s.residuals())
}
