package growth

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// byChance is the probability that a culture which neither grows nor dies shows
// a change like this: thrice the least of those of three tests that know no
// model and whose shapes are set before any value is looked at, so that no search among
// models and shapes can flatter them (Bonferroni).
//
// One is Student's test of a straight trend, which needs few points. The second
// is the same test of a few courses of the shape of an S, early, midway and
// late, which sees a week's seven counts level off. The third
// sees a rise of any shape: how much better the best curve that never falls
// fits than none, which no growth curve outdoes, for each rises (Ē² of
// Barlow, Bartholomew, Bremner and Brunk 1972, Statistical Inference under
// Order Restrictions, chapter 3; Robertson, Wright and Dykstra 1988). All hold
// exactly for independent normal errors of one size. Errors that neighbours
// share are met by means of that many neighbours.
//
// Wild values would make and hide changes. With enough points the tests must find the
// change in the normal scores of the ranks too (van der Waerden 1952), which
// have no wild values whatever the errors are.
func byChance(t, y []float64, shared float64) float64 {
	if shared > 1 {
		t, y = means(t, shared), means(y, shared)
	}
	p := oneByChance(t, y)
	if len(y) >= leastRanked {
		p = math.Max(p, oneByChance(t, normalScores(y)))
	}
	return p
}

// leastRanked is from how many points on ranks alone can show a change that one
// in five thousand curves shows by chance, be it a single step midway: the ten
// higher values of twenty stand last one time in 184,756.
const leastRanked = 20

func oneByChance(t, y []float64) float64 {
	if len(y) < 3 {
		return 1
	}
	mean := stat.Mean(y, nil)
	flat := 0.0
	for _, v := range y {
		flat += (v - mean) * (v - mean)
	}
	if !(flat > 1e-24*mean*mean*float64(len(y))) { // nothing but rounding
		return 1
	}
	return math.Min(1, 3*math.Min(math.Min(trendByChance(t, y, flat), bendByChance(t, y, flat)), riseByChance(y, flat)))
}

// normalScores are the quantiles of the normal distribution at the ranks; equal
// values share theirs.
func normalScores(y []float64) []float64 {
	order := make([]int, len(y))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(y[a], y[b]) })
	out := make([]float64, len(y))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && y[order[j]] == y[order[i]] {
			j++
		}
		middle := float64(i+j) / 2 // of the ranks i+1 to j, less a half
		for _, k := range order[i:j] {
			out[k] = distuv.UnitNormal.Quantile(middle / float64(len(y)))
		}
		i = j
	}
	return out
}

// bends are the courses of the shape of an S that are tried: midpoint and
// width, both as parts of the time watched. Of seven daily counts with errors of
// a tenth, over curves of 1.5 to 4 e-folds, they show the growth in about eight of ten,
// a straight trend alone in three.
var bends = [][2]float64{{0.1, 0.3}, {0.25, 0.4}, {0.4, 0.3}, {0.5, 0.2}, {0.6, 0.3}, {0.75, 0.3}}

func bendByChance(t, y []float64, flat float64) float64 {
	x := make([]float64, len(t))
	p := 1.0
	for _, b := range bends {
		for i := range t {
			x[i] = math.Tanh(((t[i]-t[0])/(t[len(t)-1]-t[0]) - b[0]) / b[1])
		}
		p = math.Min(p, trendByChance(x, y, flat))
	}
	return p * float64(len(bends))
}

// means returns the means of runs of so many neighbours.
func means(v []float64, run float64) []float64 {
	blocks := max(int(float64(len(v))/run), 1)
	out := make([]float64, blocks)
	for b := range out {
		out[b] = stat.Mean(v[b*len(v)/blocks:(b+1)*len(v)/blocks], nil)
	}
	return out
}

func trendByChance(t, y []float64, flat float64) float64 {
	a, b := stat.LinearRegression(t, y, nil, false)
	rss := 0.0
	for i := range t {
		r := y[i] - a - b*t[i]
		rss += r * r
	}
	df := float64(len(y) - 2)
	if !finite(rss) || rss >= flat {
		return 1
	}
	return distuv.F{D1: 1, D2: df}.Survival((flat - rss) / (math.Max(rss, 1e-30*flat) / df))
}

func riseByChance(y []float64, flat float64) float64 {
	explained := 1 - neverFalling(y)/flat
	n := float64(len(y))
	p := 0.0
	for i, share := range levels(len(y)) {
		l := float64(i + 1)
		switch {
		case l == 1: // one level explains nothing
		case l == n:
			p += share
		default:
			p += share * distuv.Beta{Alpha: (l - 1) / 2, Beta: (n - l) / 2}.Survival(math.Min(math.Max(explained, 0), 1))
		}
	}
	return p
}

// neverFalling is the sum of squares about the best curve that never falls, by
// pooling neighbours that fall.
func neverFalling(y []float64) float64 {
	type pool struct{ mean, weight float64 }
	var pools []pool
	for _, v := range y {
		p := pool{v, 1}
		for n := len(pools); n > 0 && pools[n-1].mean >= p.mean; n = len(pools) {
			q := pools[n-1]
			w := p.weight + q.weight
			p = pool{(p.mean*p.weight + q.mean*q.weight) / w, w}
			pools = pools[:n-1]
		}
		pools = append(pools, p)
	}
	rss, i := 0.0, 0
	for _, p := range pools {
		for range int(p.weight) {
			rss += (y[i] - p.mean) * (y[i] - p.mean)
			i++
		}
	}
	return rss
}

// mostLevels bounds the levels that are counted: the curve of n chance values
// that never falls has about ln n of them.
const mostLevels = 80

// levels are the probabilities that the best curve through n chance values that
// never falls has one level, two, and so on: Stirling's numbers of the first
// kind over n!.
func levels(n int) []float64 {
	p := make([]float64, min(n, mostLevels)+1)
	p[1] = 1
	for m := 2; m <= n; m++ {
		for l := min(m, len(p)-1); l >= 1; l-- {
			p[l] = (p[l-1] + p[l]*float64(m-1)) / float64(m)
		}
	}
	return p[1:]
}
