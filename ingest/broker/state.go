package broker

import (
	"cmp"
	"sync"
	"time"
)

// State tells how the broker stands. The counts only grow.
type State struct {
	Listening   bool
	Since       time.Time // since when Listening is what it is
	Clients     int       // connected now
	LastMessage time.Time // when a message last came in; zero if none did

	Connects int64 // connections let in
	Refused  int64 // connections turned away: name or password
	Received int64 // messages handed to the sink
	Stored   int64 // of these, on disk: what may be acknowledged
	Rejected int64 // of these, not stored, so that the client was disconnected
	Oversize int64 // messages over MaxPayload, and packets over MaxPacket

	// LastError is what is wrong now, empty if nothing is: first the sink,
	// then the password file.
	LastError string
}

// tracker is where the State is written. It is safe for concurrent use.
type tracker struct {
	mu  sync.Mutex
	now State // guarded by mu, as are the errors

	sinkErr, usersErr string
}

func (t *tracker) snapshot() State {
	t.mu.Lock()
	defer t.mu.Unlock()
	s := t.now
	s.LastError = cmp.Or(t.sinkErr, t.usersErr)
	return s
}

func (t *tracker) listening(at time.Time, yes bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now.Listening, t.now.Since = yes, at
}

func (t *tracker) arrived(at time.Time, oversize bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now.Received++
	t.now.LastMessage = at
	if oversize {
		t.now.Oversize++
	}
}

// put notes how the sink took a message. It reports whether the sink's state
// changed.
func (t *tracker) put(err error) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	changed := (t.sinkErr == "") != (err == nil)
	if err == nil {
		t.now.Stored++
		t.sinkErr = ""
		return changed
	}
	t.now.Rejected++
	t.sinkErr = "store messages: " + err.Error()
	return changed
}

// asked notes whether a client was let in. It reports whether the password
// file's fault is news.
func (t *tracker) asked(ok bool, fault error) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if ok {
		t.now.Connects++
	} else {
		t.now.Refused++
	}
	before := t.usersErr
	t.usersErr = ""
	if fault != nil {
		t.usersErr = fault.Error()
	}
	return t.usersErr != "" && t.usersErr != before
}

func (t *tracker) tooLarge() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now.Oversize++
}
