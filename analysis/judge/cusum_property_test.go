package judge

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// observations are series such as a judge may meet, in standard deviations.
func observations(t *rapid.T) []float64 {
	return rapid.SliceOfN(rapid.Float64Range(-20, 20), 1, 60).Draw(t, "observations")
}

func sums(z []float64, k float64) []Cusum {
	out := make([]Cusum, len(z))
	var s Cusum
	for i, v := range z {
		s = s.Step(v, k)
		out[i] = s
	}
	return out
}

// The sum is the most that any stretch up to now lies above the reference, so
// that it tells when the change began.
func TestCusumIsTheGreatestStretch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, k := observations(t), rapid.Float64Range(0, 3).Draw(t, "k")
		got := sums(z, k)
		for n := range z {
			most, stretch := 0., 0.
			for i := n; i >= 0; i-- {
				stretch += z[i] - k
				most = max(most, stretch)
			}
			if math.Abs(float64(got[n])-most) > 1e-9 {
				t.Fatalf("after %d: %g, the greatest stretch %g", n+1, got[n], most)
			}
		}
	})
}

// Greater observations never make a smaller sum, a greater reference never a
// greater one; so a greater threshold, too, never signals sooner.
func TestCusumIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, k := observations(t), rapid.Float64Range(0, 3).Draw(t, "k")
		more, stricter := make([]float64, len(z)), k+rapid.Float64Range(0, 3).Draw(t, "more k")
		for i := range z {
			more[i] = z[i] + rapid.Float64Range(0, 5).Draw(t, "more")
		}
		plain, above, strict := sums(z, k), sums(more, k), sums(z, stricter)
		for i := range z {
			if plain[i] < 0 || above[i] < plain[i] || strict[i] > plain[i] {
				t.Fatalf("after %d: %g; of greater observations %g, of a greater reference %g", i+1, plain[i], above[i], strict[i])
			}
		}
	})
}

// In another unit all is the same, by the factor between the units; powers of
// two, so that nothing is rounded.
func TestCusumHasNoUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, k := observations(t), rapid.Float64Range(0, 3).Draw(t, "k")
		unit := math.Ldexp(1, rapid.IntRange(-20, 20).Draw(t, "power of two"))
		scaled := make([]float64, len(z))
		for i := range z {
			scaled[i] = unit * z[i]
		}
		for i, s := range sums(scaled, unit*k) {
			if want := Cusum(unit) * sums(z, k)[i]; s != want {
				t.Fatalf("after %d: %g, want %g", i+1, s, want)
			}
		}
	})
}

// What came before the sum was last zero is forgotten, and what is unknown is
// passed over.
func TestCusumForgets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before, after := observations(t), observations(t)
		low := -rapid.Float64Range(2000, 3000).Draw(t, "low") // below what 60 observations can add up to
		whole := sums(append(append(append([]float64{}, before...), low, math.NaN()), after...), 0.5)
		for i, want := range sums(after, 0.5) {
			if got := whole[len(before)+2+i]; got != want {
				t.Fatalf("after %d: %g, begun anew %g", i+1, got, want)
			}
		}
	})
}

// A run grows with the threshold and the reference and shrinks with the shift.
func TestAverageRunIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Bounds within which the run itself can be told; those of more may be infinite.
		k, h, shift := rapid.Float64Range(0, 1.5).Draw(t, "k"), rapid.Float64Range(0, 4).Draw(t, "h"), rapid.Float64Range(-0.5, 3).Draw(t, "shift")
		more := rapid.Float64Range(0.01, 1).Draw(t, "more")
		run := AverageRun(k, h, shift)
		if run < 1 || AverageRun(k, h+more, shift) <= run || AverageRun(k+more, h, shift) <= run || AverageRun(k, h, shift+more) >= run {
			t.Fatalf("k %g, h %g, shift %g: run %g; with %g more of each %g, %g, %g", k, h, shift, run, more,
				AverageRun(k, h+more, shift), AverageRun(k+more, h, shift), AverageRun(k, h, shift+more))
		}
	})
}
