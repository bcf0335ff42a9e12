package expect

import "math"

const (
	// Kept is how many hours back a running course remembers.
	Kept = 72
	// heldBack is how many hours of the newest course teach nothing of the lot's
	// own pace, so that a trouble is not taken for it before it has been seen: a
	// day and a half, in which the lamp has had its whole say.
	heldBack = 48
)

// Passed is one hour that a lot has gone through: what was seen at its end and
// what its strain's law makes of it.
type Passed struct {
	Log   float32 // log density, all steps taken out; NaN unknown
	Sigma float32 // its standard error without that of the blank
	Dense float32 // od above blank, as it stood in the vessel; NaN unknown
	Step  float32 // variance of the steps that were taken out in this hour
	Rate  float32 // net growth by the law of the strain, 1/d
	// Slope is what Rate changes by for each parameter of the law, at the mean
	// of the strain.
	Slope [params]float32
}

// thin is 1/od of the density, which is what an error of the blank weighs.
func (p *Passed) thin() float64 { return 1 / math.Max(float64(p.Dense), 1e-3) }

// gross is the growth where there is any, 1/d.
func (p *Passed) gross() float64 { return math.Max(float64(p.Rate), 0) }

func (p *Passed) known() bool { return p.Log == p.Log } //nolint:staticcheck // NaN is unlike itself

// Running is the expected course of one lot as it goes on, one step an hour,
// in constant memory. It is a plain value: a copy is a checkpoint.
//
// A batch fit of the whole record ([Library.Lot]) says the same with more care;
// this says it each hour for every lot at once. The law is taken as straight in
// its parameters about the mean of the strain.
type Running struct {
	Hours int // that the lot has gone through; 0: nothing yet
	From  int // of them, how many have taught the lot's own parameters
	Ring  [Kept]Passed
	Now   [params]Condition // under the mean of the strain, and with each parameter but the blank nudged
	Level float64           // log density at From; NaN: none seen yet
	// First is the first hour in which a density was seen, Life what has passed
	// since; Blank the standard error of the lot's own blank.
	First Passed
	Life  sums
	Blank float64
	// Off are the lot's own parameters less those of its strain; Cov holds the
	// covariance of the level and these.
	Off vector
	Cov [states * states]float64
}

const states = params + 1 // the level, and the parameters

// Begin returns the course of a lot of the strain: of a fresh one, or of one
// that has long settled in. blank is the standard error of the blank that its
// densities are above, od.
func (s *Strain) Begin(litres, blank float64, settled bool) Running {
	r := Running{Level: math.NaN()}
	for i := range params {
		for j := range params {
			r.Cov[(i+1)*states+j+1] = s.Cov[i*params+j]
		}
		own := s.Own[i]
		if i == pBlank {
			own = math.Max(own, blank)
			r.Blank = own
		}
		r.Cov[(i+1)*states+i+1] += own * own
	}
	for i := range params {
		v := s.nudged(i)
		l := v.law(litres)
		r.Now[i] = l.fresh()
		if settled {
			r.Now[i].Ready = settledIn
		}
	}
	return r
}

// nudge of a running course, in standard deviations of lots of the strain: wide
// enough to feel the bend of the law, so that the slope is a chord's.
const nudgeRunning = 0.5

// nudged is the mean of the strain with one parameter moved; for the blank,
// which moves no rate, as it is.
func (s *Strain) nudged(i int) vector {
	v := s.Mean
	if i != pBlank {
		v[i] += s.nudge(i)
	}
	return v
}

func (s *Strain) nudge(i int) float64 {
	return nudgeRunning * math.Sqrt(s.Cov[i*params+i]+s.Own[i]*s.Own[i])
}

// Take takes in one hour that was surrounded by h: seen is its log density with
// all steps out of it, sigma its error, dense the od above blank that really
// stood there, step the variance of what was taken out. Unknown is NaN.
//
// Without learn the hour that comes of age teaches nothing of the lot's own
// parameters.
func (r *Running) Take(s *Strain, litres float64, h Hour, seen, sigma, dense, step float64, learn bool) {
	p := Passed{Log: float32(seen), Sigma: float32(sigma), Dense: float32(dense), Step: float32(step)}
	x := dense
	if !(x > 0) {
		x = r.lastDense()
	}
	mean := s.Mean.law(litres)
	rate, _ := mean.grow(&r.Now[pBlank], h, math.Min(x, most))
	p.Rate = float32(rate)
	for i := range params {
		if i == pBlank {
			continue
		}
		v := s.nudged(i)
		l := v.law(litres)
		moved, _ := l.grow(&r.Now[i], h, math.Min(x, most))
		p.Slope[i] = float32((moved - rate) / s.nudge(i))
	}
	r.Ring[r.Hours%Kept] = p
	r.Hours++
	switch {
	case r.Life.Hours > 0 || r.First.Dense > 0:
		r.Life.add(&p)
	case p.known():
		r.First = p
	}
	for r.From < r.Hours-heldBack {
		r.teach(s, learn)
	}
}

// lastDense is the newest density known, or what a tenth of a full vessel is.
func (r *Running) lastDense() float64 {
	for i := r.Hours - 1; i >= max(0, r.Hours-Kept); i-- {
		if d := float64(r.Ring[i%Kept].Dense); d > 0 {
			return d
		}
	}
	return freshDense
}

// freshDense is the od of a fresh lot where none was seen: a tenth of a dark
// one (common practice).
const freshDense = 0.05

// Amend puts right what was seen in an hour that has not taught anything yet,
// back hours before the newest: steps are found and explained after they
// happened.
func (r *Running) Amend(back int, seen, sigma, step float64) {
	i := r.Hours - 1 - back
	if i < 0 || i < r.From || back >= Kept {
		return
	}
	p := &r.Ring[i%Kept]
	r.Life.Steps += step - float64(p.Step)
	p.Log, p.Sigma, p.Step = float32(seen), float32(sigma), float32(step)
}

// Seen reports whether a density was seen back hours before the newest.
func (r *Running) Seen(back int) bool {
	i := r.Hours - 1 - back
	return i >= 0 && back < Kept && r.Ring[i%Kept].known()
}

// UsualPar is the light at the wall of most shelves, umol photons m-2 s-1 (own
// judgement), where it is neither measured nor set.
const UsualPar = 100
