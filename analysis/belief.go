package analysis

// Belief is what is believed of one number: normal, with this mean and
// variance.
type Belief struct {
	Mean, Variance float64
}

// Drift is the belief after the number has wandered with this variance: the
// prediction step of the local level model
//
//	y = a + e, var e = sigma2_eps;  a' = a + n, var n = sigma2_eta
//
// (Durbin and Koopman 2001, Time Series Analysis by State Space Methods,
// chapter 2).
func (b Belief) Drift(variance float64) Belief {
	return Belief{b.Mean, b.Variance + variance}
}

// See is the belief after the number was seen at value with an error of this
// variance: the filter step of the same model, v = y - a, F = P + sigma2_eps,
// K = P/F, a' = a + K v, P' = P (1 - K). trust, 0 to 1, is the share of K
// that is used: 1 is Kalman's, less draws in what lies far off.
func (b Belief) See(value, variance, trust float64) Belief {
	k := trust * b.Variance / (b.Variance + variance)
	return Belief{b.Mean + k*(value-b.Mean), b.Variance * (1 - k)}
}

// Trust is the weight of an innovation of z standard deviations whose errors
// have Student's t distribution with tail degrees of freedom, by the weight of
// iterated least squares, 1/(1 + z2/tail), which is 1 in the middle.
func Trust(z, tail float64) float64 { return 1 / (1 + z*z/tail) }
