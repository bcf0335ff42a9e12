package growth

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Of n values in random order, the chance of a rise from first to last without
// any fall is 1/n!; with three values the best curve that never falls has one
// level in 2 of 6 orders, two in 3 and three in 1 (counted by hand).
func TestLevels(t *testing.T) {
	for l, want := range []float64{2. / 6, 3. / 6, 1. / 6} {
		if got := levels(3)[l]; math.Abs(got-want) > 1e-15 {
			t.Errorf("%d levels of three values: %g, want %g", l+1, got, want)
		}
	}
	for _, n := range []int{5, 50, 2000} {
		sum := 0.0
		for _, p := range levels(n) {
			sum += p
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Errorf("levels of %d values add up to %g", n, sum)
		}
	}
}

func TestNeverFalling(t *testing.T) {
	// Pools {3, 1} to 2, {5, 4} to 4.5, by hand: 1 + 1 + 0.25 + 0.25.
	if got := neverFalling([]float64{3, 1, 5, 4, 6}); math.Abs(got-2.5) > 1e-15 {
		t.Errorf("sum of squares %g, want 2.5", got)
	}
}

// Chance makes a change of probability p no more often than p.
func TestByChance(t *testing.T) {
	const curves = 5000
	at := map[float64]int{0.01: 0, 0.05: 0}
	for k := range uint64(curves) {
		r := rand.New(rand.NewPCG(4, k))
		var x, y []float64
		for i := range 5 + int(k%26) {
			x, y = append(x, float64(i)), append(y, r.NormFloat64())
		}
		p := byChance(x, y, 1)
		for limit := range at {
			if p < limit {
				at[limit]++
			}
		}
	}
	for limit, n := range at {
		share, room := float64(n)/curves, 4*math.Sqrt(limit/curves)
		if share > limit+room || share < limit/3 {
			t.Errorf("%.4f of flat curves have p < %g", share, limit)
		}
	}
}

// Residuals of an autoregression of 0.6 share an error among
// (1 + 0.6)/(1 - 0.6) = 4 neighbours, and the sum, which ends only at the first
// autocorrelation below zero, says rather more than less; independent ones do not.
func TestShared(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	var tied, free []float64
	e := 0.0
	for range 20000 {
		z := r.NormFloat64()
		e = 0.6*e + z
		tied, free = append(tied, e), append(free, z)
	}
	if got := shared(tied, 0); got < 3.5 || got > 6 {
		t.Errorf("shared by %g, want 4", got)
	}
	if got := shared(free, 0); got != 1 {
		t.Errorf("independent errors shared by %g, want 1", got)
	}
}

// By hand: the least and the greatest of four stand at 1/8 and 7/8, the two that
// are equal half-way.
func TestNormalScores(t *testing.T) {
	got := normalScores([]float64{2, 9e9, 2, -1})
	q := distuv.UnitNormal.Quantile
	for i, want := range []float64{0, q(0.875), 0, q(0.125)} {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("score %d is %g, want %g", i, got[i], want)
		}
	}
}
