package expect

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"github.com/nightshelf/nightshelf/analysis"
)

// Lot is one lot with what its own record says of it.
type Lot struct {
	Record *Record
	From   Strain
	Belief // of this lot
	noise  noise
	now    walk
}

// Lot tightens what is held of a strain by the record of one of its lots.
// Where the record does not allow that, the strain's own course stands.
func (lib Library) Lot(r *Record) Lot { return lib.LotAfter(r, nil) }

// LotAfter is Lot where an earlier part of the same record was looked at before:
// it begins where that led, which is quicker. nil: nowhere.
func (lib Library) LotAfter(r *Record, before *Lot) Lot {
	s := lib.Strain(r.Strain, r.Medium)
	return s.lot(r, before)
}

func (s *Strain) lot(r *Record, before *Lot) Lot {
	l := Lot{Record: r, From: *s, Belief: s.Belief, noise: noise{Share: usualNoise.Share, Drift: s.Drift}}
	own := s.Own
	own[pBlank] = math.Max(own[pBlank], r.BlankError)
	for i, sd := range own {
		l.Cov[i*params+i] += sd * sd
	}
	prior := l.Belief
	from := prior.Mean
	if before != nil {
		from = before.Mean
	}
	if f, err := fit(&prior, from, vector{}, []*Record{r}, l.noise); err == nil {
		l.Mean = f.strain
		for i := range params {
			for j := range params {
				l.Cov[i*params+j] = f.cov.At(i, j)
			}
		}
	}
	l.now, _ = r.follow(&l.Mean, l.noise, nil, nil)
	return l
}

// Level returns the density at the end of the record, od above blank; NaN
// where none was seen.
func (l *Lot) Level() float64 {
	if !l.now.known {
		return math.NaN()
	}
	return math.Exp(l.now.level.Mean)
}

// draws is how many courses a band is taken from.
const draws = 100

// sample is one course that is likely as far as is known.
type sample struct {
	law       law
	level     float64 // log density
	x         float64 // the density itself
	condition Condition
	astray    float64
	drift     float64 // log density a root of a day
}

// samples draws courses from the belief, always the same ones.
func (l *Lot) samples() []sample {
	var chol mat.Cholesky
	if !l.now.known || !chol.Factorize(l.sym()) {
		return nil
	}
	var low mat.TriDense
	chol.LTo(&low)
	rng := rand.New(rand.NewPCG(1, 2)) //nolint:gosec // the same draws each time are what is wanted
	out := make([]sample, 0, draws)
	var z [params + 3]float64
	for i := range draws {
		for j := range z {
			if i%2 == 0 {
				z[j] = rng.NormFloat64()
			} else {
				z[j] = -z[j] // antithetic
			}
		}
		out = append(out, l.sample(&low, &z))
	}
	return out
}

func (l *Lot) sample(low *mat.TriDense, z *[params + 3]float64) sample {
	v := l.Mean
	for i := range params {
		for j := 0; j <= i; j++ {
			v[i] += low.At(i, j) * z[j]
		}
	}
	s := sample{law: v.law(l.Record.VolumeL), condition: l.now.condition}
	s.level = l.now.level.Mean + math.Sqrt(l.now.level.Variance)*z[params]
	s.x = math.Exp(s.level)
	s.astray = l.From.Astray * z[params+1]
	s.drift = l.noise.Drift * z[params+2]
	return s
}

// hour lets one hour pass; days is how far ahead it ends.
func (s *sample) hour(h Hour) {
	grown := s.law.step(&s.condition, h, math.Min(s.x, most)) * (1 + s.astray) * hourDays
	s.level += grown
	s.x *= expSmall(grown)
}

// Harvest returns how long it takes from the end of the record until the
// density first reaches ready, hours, as an 80 % interval, under the hours
// that come; +Inf for not within them. ok is false while too little is known.
func (l *Lot) Harvest(ready float64, ahead []Hour) (hours analysis.Interval, ok bool) {
	all := l.samples()
	if all == nil || !(ready > 0) {
		return analysis.Interval{}, false
	}
	when := make([]float64, len(all))
	want := math.Log(ready)
	for i := range all {
		when[i] = all[i].reach(want, ahead)
	}
	slices.Sort(when)
	hours = l.interval(when)
	// The newest density is that of the middle of its hour.
	hours.Low, hours.Likely, hours.High = hours.Low-0.5, hours.Likely-0.5, hours.High-0.5
	return hours, true
}

// interval is the 80 % interval of sorted draws, brought to the width that
// forecasts of reference lots have shown to hold it.
func (l *Lot) interval(sorted []float64) analysis.Interval {
	mid, wide := quantile(sorted, 0.5), l.From.Width
	low, high := quantile(sorted, 0.1), quantile(sorted, 0.9)
	if math.IsInf(mid, 1) {
		return analysis.Interval{Low: low, Likely: mid, High: high}
	}
	return analysis.Interval{Low: mid - wide*(mid-low), Likely: mid, High: mid + wide*(high-mid)}
}

func (s *sample) reach(want float64, ahead []Hour) float64 {
	before := s.level - want
	for i, h := range ahead {
		if before >= 0 {
			return float64(i)
		}
		s.hour(h)
		now := s.level + s.drift*math.Sqrt(float64(i+1)*hourDays) - want
		if now >= 0 {
			return float64(i) + before/(before-now)
		}
		before = now
	}
	return math.Inf(1)
}

func quantile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	if math.IsInf(sorted[i+1], 1) {
		return sorted[i+int(math.Round(at-float64(i)))]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// Band is what density is expected at one time, od above blank, 80 %.
type Band struct {
	At time.Time
	analysis.Interval
}

// Ahead returns the band at the end of each hour to come.
func (l *Lot) Ahead(ahead []Hour) []Band {
	all := l.samples()
	if all == nil {
		return nil
	}
	end := l.Record.Start.Add(time.Duration(len(l.Record.OD)) * time.Hour)
	out := make([]Band, len(ahead))
	at := make([]float64, len(all))
	for i, h := range ahead {
		for k := range all {
			all[k].hour(h)
			at[k] = all[k].level + all[k].drift*math.Sqrt(float64(i+1)*hourDays)
		}
		slices.Sort(at)
		b := l.interval(at)
		out[i] = Band{At: end.Add(time.Duration(i+1) * time.Hour),
			Interval: analysis.Interval{Low: math.Exp(b.Low), Likely: math.Exp(b.Likely), High: math.Exp(b.High)}}
	}
	return out
}
