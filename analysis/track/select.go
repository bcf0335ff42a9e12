package track

import (
	"cmp"
	"math"
)

// small sorts a few values in place.
func small[T cmp.Ordered](v []T) {
	for i := 1; i < len(v); i++ {
		x, j := v[i], i
		for ; j > 0 && v[j-1] > x; j-- {
			v[j] = v[j-1]
		}
		v[j] = x
	}
}

// nth returns the value that would stand at place k of the sorted values, which
// it brings into another order; all must be finite. It is selection by parting
// (Hoare 1961, Algorithm 65, Comm. ACM 4:321), written so that no branch hangs
// on the values: those cost more than the swaps.
func nth(v []float64, k int) float64 {
	for len(v) > 12 {
		p := middle(v[0], v[len(v)/2], v[len(v)-1])
		below := 0
		for i, x := range v {
			v[i] = v[below]
			v[below] = x
			below += int(math.Float64bits(x-p) >> 63) // 1 if x < p
		}
		switch {
		case k < below:
			v = v[:below]
		case below > 0:
			v, k = v[below:], k-below
		default: // p is the least
			upTo := least(v, p)
			if k < upTo {
				return p
			}
			v, k = v[upTo:], k-upTo
		}
	}
	small(v)
	return v[k]
}

func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }

// least brings those that are p, the least of all, to the front and counts them.
func least(v []float64, p float64) int {
	n := 0
	for i, x := range v {
		if x == p {
			v[i], v[n] = v[n], x
			n++
		}
	}
	return n
}
