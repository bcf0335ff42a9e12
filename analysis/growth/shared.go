package growth

import "math"

// shared is how many neighbours carry the information of one independent value,
// from residuals in order of time of a fit with k parameters:
//
//	1 + 2 (rho_1 + rho_2 + ...), up to the first that is not above zero
//
// (Geyer 1992, Statistical Science 7:473-483, for sums of this kind). It is 1
// unless rho_1 is further above zero than chance makes it one time in twenty.
// Day and night make such a wave, too, and widen intervals to more than they
// say. It is a help and no cure: of 95 % intervals over 200 points, those that
// hold the truth rise from some 66 to 91 % at an autocorrelation of 0.6 and from
// 29 to 81 % at 0.9, and over 20 points hardly at all. A drift slower than the curve itself is
// taken for growth: no residual shows it.
func shared(r []float64, k int) float64 {
	n := float64(len(r))
	square := 0.0
	for _, v := range r {
		square += v * v
	}
	if !(square > 0) || n < 8 {
		return 1
	}
	// A fit takes about this much from every autocorrelation.
	taken := float64(k) / n
	sum := 0.0
	for lag := 1; lag < len(r)/2; lag++ {
		rho := taken
		for i := lag; i < len(r); i++ {
			rho += r[i] * r[i-lag] / square
		}
		if lag == 1 && rho < 1.645/math.Sqrt(n) {
			return 1
		}
		if rho <= taken {
			break
		}
		sum += rho
	}
	return math.Min(1+2*sum, n/2)
}
