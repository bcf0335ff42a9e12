package alerts

// Change is what a step did to an alarm.
type Change string

// The changes.
const (
	None         Change = ""
	Raised       Change = "raised"        // a new trouble
	Reraised     Change = "raised again"  // back after the re-alarm time: tell again
	Resumed      Change = "resumed"       // back within the re-alarm time: told already
	Cleared      Change = "cleared"       // the finding is gone for the whole off-delay
	AckedByHand  Change = "acknowledged"  // a person took it
	EndedUnacked Change = "ended by time" // cleared long ago, and nobody ever acknowledged it
)

// Changes lists every Change but None.
var Changes = []Change{Raised, Reraised, Resumed, Cleared, AckedByHand, EndedUnacked}

// The kinds of call.
const (
	KindRaised  = "alarm.raised"
	KindCleared = "alarm.cleared"
)

// Kind returns the kind of call that tells of c, empty where nobody is told.
func (c Change) Kind() string {
	switch c {
	case Raised, Reraised:
		return KindRaised
	case Cleared:
		return KindCleared
	}
	return ""
}
