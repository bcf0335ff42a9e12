package alerts

import "time"

// Attempt is one try at delivering a call to one phone, as the outbox reports it and the ledger keeps it.
type Attempt struct {
	At      time.Time // when the try ended
	Phone   string    // name of the phone tried; empty when none is configured
	Outcome CallState // the state of the call after this try
	Next    time.Time // when the call is due again; zero when Outcome is an end
	Detail  string    // what the receiver answered or what went wrong, free of secrets, for people
}
