package growth

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Against the library's own.
func TestExpAll(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	worst := 0.0
	x := make([]float64, 1)
	for range 400000 {
		v := (2*r.Float64() - 1) * math.Pow(10, 6*r.Float64()-3.2)
		if math.Abs(v) > farthest {
			continue
		}
		x[0] = v
		expAll(x)
		worst = math.Max(worst, off(x[0], math.Exp(v))/0x1p-52)
	}
	t.Logf("worst: %.2f units of the last place", worst)
	if worst > 2 {
		t.Errorf("off by %.2f units of the last place", worst)
	}
	x = []float64{0, -1e9, 1e9, math.Inf(-1), math.Inf(1), math.NaN()}
	expAll(x)
	if x[0] != 1 || x[1] != x[3] || x[2] != x[4] || !(x[1] > 0) || x[1] > 1e-303 || x[2] < 1e303 || math.IsInf(x[2], 1) {
		t.Errorf("at the ends: %v", x)
	}
	if !math.IsNaN(x[5]) {
		t.Errorf("of no number: %g", x[5])
	}
}

func TestLogAll(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	worst := 0.0
	x := make([]float64, 1)
	for i := range 400000 {
		v := math.Exp((2*r.Float64() - 1) * 700)
		if i%2 == 0 {
			v = 0.5 + 1.5*r.Float64()
		}
		x[0] = v
		logAll(x)
		want := math.Log(v)
		worst = math.Max(worst, math.Abs(x[0]-want)/math.Max(3e-16, math.Abs(want)*0x1p-51))
	}
	if worst > 1 {
		t.Errorf("off by %.2f of what is allowed", worst)
	}
	x = []float64{math.NaN(), math.Inf(1)}
	if logAll(x); finite(x[0]) || finite(x[1]) {
		t.Errorf("of no number: %v", x)
	}
	x = []float64{1}
	if logAll(x); math.Abs(x[0]) > 3e-16 {
		t.Errorf("ln 1 = %g", x[0])
	}
}

func BenchmarkExp(b *testing.B) {
	from := make([]float64, blockPoints)
	for i := range from {
		from[i] = float64(i)/8 - 4
	}
	x := make([]float64, blockPoints)
	b.Run("all", func(b *testing.B) {
		for b.Loop() {
			copy(x, from)
			expAll(x)
		}
	})
	b.Run("one by one", func(b *testing.B) {
		for b.Loop() {
			for i, v := range from {
				x[i] = math.Exp(v)
			}
		}
	})
}
