package expect

import "math"

// teach lets the oldest hour that has taught nothing yet teach: an extended
// Kalman filter of the level and the parameters, which are taken to stay what
// they are for the whole of the lot.
func (r *Running) teach(s *Strain, learn bool) {
	p := &r.Ring[r.From%Kept]
	r.From++
	if math.IsNaN(r.Level) {
		r.first(p)
		return
	}
	r.pass(p, s)
	switch {
	case !p.known():
	case learn:
		r.correct(p)
	default: // the level alone is taken
		r.Level = float64(p.Log) - p.thin()*r.Off[pBlank]
	}
}

// first takes the level from the first hour in which one was seen.
func (r *Running) first(p *Passed) {
	if !p.known() {
		return
	}
	h := p.thin()
	r.Level = float64(p.Log) - r.Off[pBlank]*h
	for j := range states {
		c := -h * r.Cov[(1+pBlank)*states+j]
		r.Cov[j], r.Cov[j*states] = c, c
	}
	r.Cov[0] = p.error2() + h*h*r.Cov[(1+pBlank)*states+1+pBlank]
}

// error2 is the variance of what was seen.
func (p *Passed) error2() float64 {
	return float64(p.Sigma)*float64(p.Sigma) + usualNoise.Share*usualNoise.Share
}

// pass lets the hour pass over level and covariance.
func (r *Running) pass(p *Passed, s *Strain) {
	rate := float64(p.Rate)
	for i, slope := range p.Slope {
		rate += float64(slope) * r.Off[i]
	}
	r.Level += rate * hourDays
	// F is the identity with the slopes in the row of the level.
	var row [states]float64
	for j := range states {
		sum := 0.0
		for i := range params {
			sum += float64(p.Slope[i]) * r.Cov[(i+1)*states+j]
		}
		row[j] = r.Cov[j] + sum*hourDays
	}
	head := row[0]
	for i := range params {
		head += float64(p.Slope[i]) * hourDays * row[i+1]
	}
	for j := 1; j < states; j++ {
		r.Cov[j], r.Cov[j*states] = row[j], row[j]
	}
	astray := s.Astray * p.gross() * hourDays
	// The rate is astray for about a day on end, which adds up as a day's worth
	// of independent hours would with this much more.
	r.Cov[0] = head + s.Drift*s.Drift*hourDays + float64(p.Step) + astray*astray/hourDays
}

// correct takes in what was seen, far ones drawn in.
func (r *Running) correct(p *Passed) {
	thin := p.thin()
	var ph [states]float64
	for i := range states {
		ph[i] = r.Cov[i*states] + r.Cov[i*states+1+pBlank]*thin
	}
	error2 := p.error2()
	total := ph[0] + thin*ph[1+pBlank] + error2
	d := float64(p.Log) - r.Level - thin*r.Off[pBlank]
	z := d / math.Sqrt(total)
	if math.Abs(d) > stepLog && math.Abs(z) > stepSigma {
		r.Level += d
		r.Cov[0] += error2 // a knock that was not taken out
		return
	}
	weight := 1 / (total * (1 + z*z/tail))
	r.Level += ph[0] * weight * d
	for i := range params {
		r.Off[i] += ph[i+1] * weight * d
	}
	for i := range states {
		for j := range states {
			r.Cov[i*states+j] -= ph[i] * ph[j] * weight
		}
	}
}
