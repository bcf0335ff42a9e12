package growth

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Line is y = Intercept + Slope t with the standard errors of both and the
// residual standard deviation. Fitted to ln N, the slope is mu in 1/d.
type Line struct {
	Intercept, Slope     float64
	InterceptSE, SlopeSE float64
	ResidualSD           float64
}

// LogLinear fits a line by weighted least squares. sigma holds the relative
// sizes of the errors; nil says that they are all equal. It needs three points
// at two times or more.
func LogLinear(t, y, sigma []float64) (Line, error) {
	if err := checkLine(t, y, sigma, 3); err != nil {
		return Line{}, fmt.Errorf("fit a line: %w", err)
	}
	var w []float64
	if sigma != nil {
		w = make([]float64, len(t))
		for i, s := range sigma {
			w[i] = 1 / (s * s)
		}
	}
	var l Line
	l.Intercept, l.Slope = stat.LinearRegression(t, y, w, false)
	mean := stat.Mean(t, w)
	sxx, rss, sw := 0.0, 0.0, 0.0
	for i := range t {
		wi := 1.0
		if w != nil {
			wi = w[i]
		}
		r := y[i] - l.Intercept - l.Slope*t[i]
		sxx += wi * (t[i] - mean) * (t[i] - mean)
		rss += wi * r * r
		sw += wi
	}
	l.ResidualSD = math.Sqrt(rss / float64(len(t)-2))
	l.SlopeSE = l.ResidualSD / math.Sqrt(sxx)
	l.InterceptSE = l.ResidualSD * math.Sqrt(1/sw+mean*mean/sxx)
	return l, nil
}

// Slopes is Theil and Sen's line: the median of all pairwise slopes, with the
// ends of its confidence interval, and the median of y less slope times the
// median of t.
type Slopes struct {
	Slope, Low, High, Intercept float64
}

// mostPairs bounds the work of TheilSen: some 1,400 points.
const mostPairs = 1_000_000

// TheilSen fits a line that up to 29 % of wild points do not move (Theil 1950;
// Sen 1968, J. Am. Stat. Assoc. 63:1379-1389). level is that of the interval,
// 0.95 say. Pairs at one time are left out. It needs three points at two times
// or more.
func TheilSen(t, y []float64, level float64) (Slopes, error) {
	if err := checkLine(t, y, nil, 3); err != nil {
		return Slopes{}, fmt.Errorf("median of slopes: %w", err)
	}
	n := len(t)
	if n*(n-1)/2 > mostPairs {
		return Slopes{}, fmt.Errorf("median of slopes: %d points are too many, thin them", n)
	}
	pairs := make([]float64, 0, n*(n-1)/2)
	for i := range t {
		for j := i + 1; j < n; j++ {
			if t[i] != t[j] {
				pairs = append(pairs, (y[j]-y[i])/(t[j]-t[i]))
			}
		}
	}
	slices.Sort(pairs)
	s := Slopes{Slope: middle(pairs)}
	s.Intercept = median(y) - s.Slope*median(t)
	s.Low, s.High = sen(pairs, t, y, level)
	return s, nil
}

// sen gives the interval of the sorted slopes from the variance of Kendall's
// S, with ties in both (Sen 1968, equations 2.6 and 3.3).
func sen(pairs, t, y []float64, level float64) (low, high float64) {
	n := float64(len(t))
	v := (n*(n-1)*(2*n+5) - ties(t) - ties(y)) / 18
	z := distuv.UnitNormal.Quantile(0.5 + level/2)
	half := z * math.Sqrt(math.Max(v, 0))
	m := float64(len(pairs))
	top := min(int(math.Round((m+half)/2)), len(pairs)-1)
	bottom := max(int(math.Round((m-half)/2))-1, 0)
	return pairs[bottom], pairs[max(top, 0)]
}

func ties(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	sum := 0.0
	for i := 0; i < len(s); {
		j := i
		for j < len(s) && s[j] == s[i] {
			j++
		}
		k := float64(j - i)
		sum += k * (k - 1) * (2*k + 5)
		i = j
	}
	return sum
}

func checkLine(t, y, sigma []float64, least int) error {
	if len(t) != len(y) || sigma != nil && len(sigma) != len(t) {
		return fmt.Errorf("%d times, %d values and %d errors do not pair up", len(t), len(y), len(sigma))
	}
	if len(t) < least {
		return fmt.Errorf("%d points are too few, %d are needed", len(t), least)
	}
	same := true
	for i := range t {
		if !finite(t[i]) || !finite(y[i]) {
			return fmt.Errorf("point %d (%g, %g) is not a number", i+1, t[i], y[i])
		}
		if sigma != nil && (!finite(sigma[i]) || !(sigma[i] > 0)) {
			return fmt.Errorf("error %d is %g, it must be above zero", i+1, sigma[i])
		}
		same = same && t[i] == t[0]
	}
	if same {
		return fmt.Errorf("all %d points are at one time, %g", len(t), t[0])
	}
	return nil
}

// middle is the median of sorted values.
func middle(s []float64) float64 {
	if len(s) == 0 {
		return math.NaN()
	}
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// median leaves v as it is.
func median(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return middle(s)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
