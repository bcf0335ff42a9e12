package analysis

import "time"

// Phase is where a lot stands in its growth (FAO Fisheries Technical Paper
// 361, section 2.3, the five phases), and the time before there is one.
type Phase string

// The phases.
const (
	Empty       Phase = "empty"            // nothing known to be in the vessel
	Standing    Phase = "standing medium"  // filled, not inoculated
	Lag         Phase = "lag"              // not yet growing
	Exponential Phase = "exponential"      // growing at its full pace
	Declining   Phase = "declining growth" // growing, but slower as it darkens
	Stationary  Phase = "stationary"       // no longer growing
	Death       Phase = "death"            // losing cells
	Over        Phase = "lot has ended"    // and nothing new is in the vessel
)

// Interval is a value with the ends of its interval. NaN marks what is not
// known; Known tells.
type Interval struct {
	Low, Likely, High float64
}

// Known reports whether the interval holds a value.
func (i Interval) Known() bool { return i.Likely == i.Likely } //nolint:staticcheck // NaN is the one value unlike itself

// Point is one value of a series.
type Point struct {
	At    time.Time
	Value float64
}

// Series is a run of points in order of time.
type Series []Point

// Estimate is what is believed about one vessel at one time.
type Estimate struct {
	At      time.Time
	Lot     string // empty where no lot is known
	Strain  string
	Medium  string
	Since   time.Time // inoculation of the lot; zero where unknown
	Ended   time.Time // of the lot; zero: it grows
	Density Interval  // od above blank, 90 % interval
	Blank   Interval  // od of the medium alone
	// BlankLearnt says that the blank was read off standing medium; otherwise
	// it is assumed to be zero and Density is wide by that.
	BlankLearnt bool
	// Cells is the density in cells/mL, 90 % interval: from the od where counts
	// were made under the probe, else as counted.
	Cells Interval
	// ByHand says that no probe tells: density and growth are those of the
	// newest counts, as of HandAt.
	ByHand bool
	HandAt time.Time
	// SecondSince is when density began to be taken from the second wavelength,
	// because the od is not heard; zero while it is.
	SecondSince time.Time
	// Apart is by which share the second wavelength lies above what it has been
	// beside the od in this lot; NaN unknown.
	Apart float64
	// PHSwing is by how much pH rose and fell over the last whole day, PHHighest
	// the highest since it began; NaN unknown.
	PHSwing, PHHighest float64
	Growth             Interval // net specific growth rate over a whole day, 1/d, 90 % interval
	// InLight and InDark are the net specific growth rates while light fell on
	// the vessel and while it did not, over the last day, 1/d of the time spent
	// in each, 90 % intervals; in the dark it is mostly below zero.
	InLight, InDark Interval
	Recent          Interval // the same over the last two hours, 1/d
	Doubling        float64  // doubling time from Growth, days; NaN while not growing
	Phase           Phase
	PhaseSince      time.Time
	// PhaseSure is the probability of the phase by the growth and its error, 0
	// to 1; NaN where no growth tells.
	PhaseSure float64
}

// InPhase returns how long the lot has been in its phase, zero where that is
// unknown.
func (e Estimate) InPhase() time.Duration {
	if e.PhaseSince.IsZero() || e.At.Before(e.PhaseSince) {
		return 0
	}
	return e.At.Sub(e.PhaseSince)
}

// Age returns how long the lot has been growing, zero where that is unknown.
func (e Estimate) Age() time.Duration {
	if e.Since.IsZero() || e.At.Before(e.Since) {
		return 0
	}
	return e.At.Sub(e.Since)
}
