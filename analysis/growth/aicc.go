package growth

import "math"

// aicc is Akaike's criterion with the correction for few points (Akaike 1974;
// Hurvich and Tsai 1989) of a least-squares fit of n points by k parameters:
//
//	K = k + 1, the residual spread being one more
//	-2 ln L = n ln(2 pi RSS/n) + n + 2 sum ln sigma
//	AICc = -2 ln L + 2 K + 2 K (K + 1)/(n - K - 1)
func aicc(n, k int, rss float64, sigma []float64) float64 {
	twice := float64(n)*math.Log(2*math.Pi*math.Max(rss, math.SmallestNonzeroFloat64)/float64(n)) + float64(n)
	for _, s := range sigma {
		twice += 2 * math.Log(s)
	}
	return twice + penalty(n, k)
}

func penalty(n, k int) float64 {
	all := float64(k + 1)
	room := float64(n) - all - 1
	if room <= 0 {
		return math.Inf(1)
	}
	return 2*all + 2*all*(all+1)/room
}

// robustAICc sets the criterion of each fit from what its residuals cost under
// the loss at one spread, the least that any model left: costs at different
// spreads cannot be held against each other.
func (v *Verdict) robustAICc(d points, l Loss) {
	scale := math.Inf(1)
	for _, f := range v.Fits {
		if f.Status != Failed && f.DF > 0 && f.SD > 0 {
			scale = math.Min(scale, f.SD)
		}
	}
	for i := range v.Fits {
		f := &v.Fits[i]
		if f.Status == Failed || math.IsInf(scale, 1) {
			continue
		}
		f.cost = cost(d, *f, l, scale)
		f.AICc = f.cost/(scale*scale) + penalty(len(d.y), len(f.P))
	}
}

// cost is the sum of squares that the residuals stand for under the loss: the
// plain one for Squares.
func cost(d points, f Fitted, l Loss, scale float64) float64 {
	if l == Squares || !(scale > 0) {
		return f.RSS
	}
	n := len(f.P)
	value, jac := make([]float64, len(d.y)), make([]float64, n*len(d.y))
	f.Model.On(d.t, d.scale).Evaluate(f.P, value, jac)
	sum := 0.0
	for i, y := range d.y {
		r := y - value[i]
		if d.sigma != nil {
			r /= d.sigma[i]
		}
		sum += l.rho(r / scale)
	}
	return 2 * scale * scale * sum
}
