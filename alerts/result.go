package alerts

import "time"

// Verdict is what one try at delivering a call came to.
type Verdict string

// The verdicts.
const (
	Arrived Verdict = "delivered" // the receiver answered 2xx
	Again   Verdict = "again"     // may work later
	Never   Verdict = "never"     // will not work with this receiver until somebody changes something
)

// Result is what one try at delivering a call to one phone met.
type Result struct {
	Verdict Verdict
	After   time.Duration // not again sooner than this, as the receiver asked; zero if it did not
	Status  int           // the HTTP status; zero where none was received
	Reason  string        // one of a closed set, fit for a metric's label
	Detail  string        // for people: what was answered or went wrong, free of secrets
}
