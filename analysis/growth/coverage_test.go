package growth

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

// fromEnvironment reads a size of the simulations below from the environment.
func fromEnvironment(name string, otherwise int) int {
	if n, err := strconv.Atoi(os.Getenv(name)); err == nil && n > 0 {
		return n
	}
	return otherwise
}

// The intervals hold the truth about as often as they say, 95 %, when the
// errors are constant, in proportion, or both, and nothing tells the fit which.
// More curves and others: NIGHTSHELF_CURVES=2000 NIGHTSHELF_SEED=2.
func TestLearntIntervalsHoldTheTruth(t *testing.T) {
	curves := fromEnvironment("NIGHTSHELF_CURVES", 100)
	seed := uint64(fromEnvironment("NIGHTSHELF_SEED", 1))
	room := 2 + 100*3.5*math.Sqrt(0.05*0.95/float64(curves)) // points of 95: what so many curves can tell
	for _, m := range []*Model{Gompertz, Baranyi} {
		for _, noise := range []Noise{{0.02, 0}, {0, 0.08}, {0.01, 0.05}} {
			held := holding(m, noise, curves, seed)
			t.Logf("%s, %+v: %v", m.Name, noise, held)
			for _, q := range []Parameter{Lag, Mu, Plateau} {
				if math.Abs(held[q.Name]-95) > room {
					t.Errorf("%s, %+v: %.1f %% of the intervals of %s hold the truth, want 95 +- %.1f", m.Name, noise, held[q.Name], q.Name, room)
				}
			}
		}
	}
}

// holding is how many in a hundred intervals of each parameter hold the truth.
func holding(m *Model, noise Noise, curves int, seed uint64) map[string]float64 {
	p := logs(3, 0.9, 1.5)
	held := map[string]float64{}
	for k := range curves {
		r := rand.New(rand.NewPCG(seed, uint64(k)))
		var c Curve
		for i := range 40 {
			at := 10 * float64(i) / 39
			v := math.Exp(m.Value(p, at))
			c.Days = append(c.Days, at)
			c.Values = append(c.Values, v*(1+noise.Relative*r.NormFloat64())+noise.Floor*r.NormFloat64())
		}
		f := FitModel(c, m, Setting{Scale: Natural, Learn: true})
		for _, q := range []Parameter{Lag, Mu, Plateau} {
			if i, want := f.Interval(q), p[m.Index(q)]; i.Low <= want && want <= i.High {
				held[q.Name] += 100 / float64(curves)
			}
		}
	}
	return held
}
