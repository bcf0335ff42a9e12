package growth

import (
	"fmt"
	"math"
)

// Rate is a net specific growth rate and its standard error, both 1/d. NaN
// marks what is not known.
type Rate struct {
	PerDay, Error float64
}

// Between returns the rate from two densities and the days between them:
//
//	mu = ln(n2/n1)/days
//
// (Guillard 1973; Wood, Everroad and Wingard 2005). cv1 and cv2 are the
// relative standard errors of the densities:
//
//	SE(mu) = sqrt(cv1^2 + cv2^2)/|days|
//
// It is the growth rate only where growth was exponential all the way.
func Between(n1, n2, days, cv1, cv2 float64) (Rate, error) {
	switch {
	case !(n1 > 0) || !(n2 > 0) || math.IsInf(n1, 1) || math.IsInf(n2, 1):
		return unknownRate(), fmt.Errorf("growth rate from densities %g and %g: both must be above zero", n1, n2)
	case !(days != 0) || math.IsNaN(days) || math.IsInf(days, 0):
		return unknownRate(), fmt.Errorf("growth rate over %g days: the two times must differ", days)
	case !(cv1 >= 0) || !(cv2 >= 0):
		return unknownRate(), fmt.Errorf("growth rate with relative errors %g and %g: neither may be negative", cv1, cv2)
	}
	// A difference of logarithms, since the quotient may overflow.
	return Rate{(math.Log(n2) - math.Log(n1)) / days, math.Hypot(cv1, cv2) / math.Abs(days)}, nil
}

// Doublings returns the doublings a day, k = mu/ln 2, and their standard error.
func (r Rate) Doublings() (k, se float64) {
	return r.PerDay / math.Ln2, r.Error / math.Ln2
}

// DoublingTime returns Td = ln 2/mu in days and its standard error by
// propagation, Td SE(mu)/mu; NaN while not growing.
func (r Rate) DoublingTime() (days, se float64) {
	if !(r.PerDay > 0) {
		return math.NaN(), math.NaN()
	}
	days = math.Ln2 / r.PerDay
	return days, days * r.Error / r.PerDay
}

// Needed returns the rate that makes good a harvest of the fraction f every
// days days: mu = -ln(1 - f)/days; NaN unless 0 <= f < 1 and days > 0.
func Needed(f, days float64) float64 {
	if !(f >= 0) || !(f < 1) || !(days > 0) {
		return math.NaN()
	}
	return -math.Log1p(-f) / days
}

func unknownRate() Rate { return Rate{math.NaN(), math.NaN()} }
