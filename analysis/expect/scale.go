package expect

import (
	"math"
	"slices"
)

// besides are how far reference lots lay from the courses that the others of
// their strain gave them, in reckoned standard errors, for each of Windows.
type besides struct {
	z    [len(Windows)][]float64
	lots int
}

// joined is what several strains show together.
func joined(all []besides) *besides {
	var sum besides
	for i := range all {
		sum.lots += all[i].lots
		for k := range sum.z {
			sum.z[k] = append(sum.z[k], all[i].z[k]...)
		}
	}
	return &sum
}

// add goes through a reference lot, up to its harvest.
func (b *besides) add(s *Strain, r *Record) {
	b.lots++
	r.run(s, func(run *Running) {
		for k, g := range run.Gaps(s) {
			if g.Hours > 0 {
				b.z[k] = append(b.z[k], math.Abs(g.Z()))
			}
		}
	})
}

// run goes through a record with a running course, up to its harvest.
func (r *Record) run(s *Strain, each func(*Running)) {
	run := s.Begin(r.VolumeL, r.BlankError, false)
	sigma := r.Noise
	if sigma <= 0 {
		sigma = NoiseUsual
	}
	shift, last := 0.0, math.NaN()
	for i, od := range r.OD[:min(len(r.OD), len(r.Hours))] {
		if r.Ready > 0 && od >= r.Ready {
			return
		}
		seen, e, step := math.NaN(), math.NaN(), 0.0
		if od > thin*sigma {
			seen, e = math.Log(od), sigma/od
			if d := seen - last; math.Abs(d) > math.Max(stepLog, stepSigma*math.Sqrt2*e) { // as in hour
				shift, step = shift-d, 2*e*e
			}
			last = seen
			seen += shift
		}
		run.Take(s, r.VolumeL, r.Hours[i], seen, e, od, step, true)
		each(&run)
	}
}

// usualLots is how many lots it takes to be believed half against the law's own
// reckoning.
const usualLots = 5

// scaleLeast is what the reckoning is narrowed to at most: few lots of a good
// year are no proof of more.
const scaleLeast = 0.5

// asReckoned is the scale before any lot was seen.
var asReckoned = func() (s [len(Windows)]float64) {
	for i := range s {
		s[i] = 1
	}
	return s
}()

// scale is the factor that brings the reckoned errors to what was seen, by
// three far quantiles of what should be normal, whichever is the worst.
func (b *besides) scale() [len(Windows)]float64 {
	out := asReckoned
	for k, z := range b.z {
		if len(z) == 0 || b.lots == 0 {
			continue
		}
		slices.Sort(z)
		seen := 0.0
		for _, tail := range [...]struct{ share, normal float64 }{{0.95, 1.960}, {0.98, 2.326}, {0.995, 2.807}} {
			seen = math.Max(seen, quantile(z, tail.share)/tail.normal)
		}
		n := float64(b.lots)
		out[k] = math.Max(scaleLeast, math.Sqrt((usualLots+n*seen*seen)/(usualLots+n)))
	}
	return out
}
