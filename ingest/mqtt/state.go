package mqtt

import (
	"sync"
	"time"
)

// State tells how the subscriber stands. The counts only grow.
type State struct {
	Connected  bool
	Subscribed bool      // every topic granted at QoS 1 on this connection
	Since      time.Time // since when Connected is what it is
	// LastMessage is when a message last came in; zero if none did.
	LastMessage time.Time

	Connects     int64 // connections made; a few a minute mean that another client uses our id
	Received     int64 // messages taken, redelivered ones included
	Acknowledged int64 // messages acknowledged on the connection that brought them
	Redelivered  int64 // messages marked by the broker as sent before
	Oversize     int64 // messages over MaxPayload
	Overflows    int64 // connections dropped because the inbox was full
	Waiting      int   // messages taken and not yet kept

	// LastError is what is wrong now, empty if nothing is: first the sink,
	// then the subscription, then the connection.
	LastError string
}

// tracker is where the State is written. It is safe for concurrent use.
type tracker struct {
	mu  sync.Mutex
	now State // guarded by mu, as are the errors

	sinkErr, topicErr, linkErr string
}

func (t *tracker) snapshot() State {
	t.mu.Lock()
	defer t.mu.Unlock()
	s := t.now
	for _, e := range []string{t.sinkErr, t.topicErr, t.linkErr} {
		if s.LastError == "" {
			s.LastError = e
		}
	}
	return s
}

// message notes one message that was taken.
func (t *tracker) message(at time.Time, again, oversize bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now.Received++
	t.now.LastMessage = at
	if again {
		t.now.Redelivered++
	}
	if oversize {
		t.now.Oversize++
	}
}

func (t *tracker) acknowledged(n int64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now.Acknowledged += n
}

func (t *tracker) overflow() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now.Overflows++
}

func (t *tracker) connected(at time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now.Connects++
	t.now.Connected, t.now.Since = true, at
}

// subscribed notes how subscribing went; with no error the line is whole.
func (t *tracker) subscribed(err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now.Subscribed = err == nil
	t.topicErr = text(err)
	if err == nil {
		t.linkErr = ""
	}
}

// disconnected notes that there is no connection, and why. It reports whether
// that is news, worth a line in the log.
func (t *tracker) disconnected(at time.Time, why error) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.now.Connected || t.now.Since.IsZero() {
		t.now.Since = at
	}
	t.now.Connected, t.now.Subscribed = false, false
	news := t.linkErr != text(why)
	t.linkErr, t.topicErr = text(why), ""
	return news
}

// sink notes whether the sink takes messages. It reports whether that changed.
func (t *tracker) sink(err error) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	changed := (t.sinkErr == "") != (err == nil)
	t.sinkErr = text(err)
	return changed
}

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}
