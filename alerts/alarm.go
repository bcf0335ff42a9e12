package alerts

import (
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// State is the state of an alarm after ISA-18.2 / IEC 62682.
type State string

// The states. Shelved, Suppressed and OutOfService are entered by people or
// by the state of the vessel, the others by findings and acknowledgements.
const (
	Normal         State = "normal"
	Unacknowledged State = "unacknowledged"
	Acknowledged   State = "acknowledged"
	Returned       State = "returned to normal unacknowledged"
	Shelved        State = "shelved"
	Suppressed     State = "suppressed by design"
	OutOfService   State = "out of service"
)

// States lists every State.
var States = []State{Normal, Unacknowledged, Acknowledged, Returned, Shelved, Suppressed, OutOfService}

// Priority is how much is lost if nobody comes before morning.
type Priority string

// The priorities.
const (
	High   Priority = "high"
	Medium Priority = "medium"
	Low    Priority = "low"
)

// Alarm is one trouble that needs a person, from the finding that raised it
// until it is normal again.
type Alarm struct {
	ID string // stable; empty while nothing was raised yet
	analysis.Key
	State    State
	Priority Priority
	Finding  analysis.Finding // as it stood when last seen
	Grade    int8             // of the finding that was last told
	Pending  time.Time        // since when a finding waits out its on-delay; zero: none waits
	// Handling says that Pending began in staffed hours, whose longer wait it
	// keeps: the last transfer of the day is no alarm because the clock struck.
	Handling bool
	Clear    time.Time // since when a raised alarm sees no finding; zero: it sees one
	Raised   time.Time
	Ended    time.Time // when it became normal again
	AckedAt  time.Time
	AckedBy  string
	CallID   string // the call that told of it
	// Explained is the entry, in words, with which the trouble went away: the
	// harvest that somebody wrote down next morning. The alarm is not erased.
	Explained string
}

// Active reports whether the trouble itself is there.
func (a Alarm) Active() bool { return a.State == Unacknowledged || a.State == Acknowledged }

// CallState is how far a call has come.
type CallState string

// The states of a call.
const (
	Queued    CallState = "queued"    // waits for its next attempt
	Delivered CallState = "delivered" // a receiver answered 2xx
	Failed    CallState = "failed"    // will never arrive: refused for good
	Expired   CallState = "expired"   // too old to be worth telling
)

// Call is one delivery of alarms to a phone through a webhook.
type Call struct {
	ID      string // stable over all attempts; no dot in it
	Room    string
	Alarms  []string // ids of the alarms it tells of
	Kind    string   // "alarm.raised" or "alarm.cleared"
	Text    string   // the words, at most 280 characters
	Body    string   // longer: evidence, what to do, cautions
	Link    string   // where to look and acknowledge; empty without a public address
	Vessel  string
	Lot     string
	Class   analysis.Class
	Prio    Priority
	Decided time.Time // when, in the room's time
	Queued  time.Time // when, by the wall clock
	Expires time.Time // by the wall clock

	State    CallState
	Attempts int
	Next     time.Time // not before this, by the wall clock
	Last     string    // what the last attempt met
	Done     time.Time // delivered, failed or expired, by the wall clock
	Phone    string    // the phone that took it
}
