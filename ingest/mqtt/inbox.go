package mqtt

import (
	"sync/atomic"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// delivery is a message with what is needed to acknowledge it.
type delivery struct {
	message ingest.Message
	ack     func() bool // reports whether the connection that brought it still stands
}

// inbox holds what was taken and is not yet kept, also while it is being put.
// One connection at a time puts into it, one goroutine takes.
type inbox struct {
	queue    chan delivery
	freed    chan struct{} // gets a token after messages were kept
	held     atomic.Int64  // messages
	bytes    atomic.Int64  // their payloads
	limit    int64
	maxBytes int64
}

func newInbox(limit, maxBytes int) *inbox {
	return &inbox{
		queue:    make(chan delivery, limit),
		freed:    make(chan struct{}, 1),
		limit:    int64(limit),
		maxBytes: int64(maxBytes),
	}
}

// put takes d in. If there is no room it waits for as long as patience, or
// until stop is closed; false means that d was not taken.
func (b *inbox) put(d delivery, patience time.Duration, stop <-chan struct{}) bool {
	if b.try(d) {
		return true
	}
	timer := time.NewTimer(patience)
	defer timer.Stop()
	for {
		select {
		case <-b.freed:
			if b.try(d) {
				return true
			}
		case <-timer.C:
			return b.try(d)
		case <-stop:
			return false
		}
	}
}

// try takes d in if there is room. One message is always let in, however
// large, because it could never get in otherwise.
func (b *inbox) try(d delivery) bool {
	size := int64(len(d.message.Payload))
	held := b.held.Load()
	if held >= b.limit || held > 0 && b.bytes.Load()+size > b.maxBytes {
		return false
	}
	b.held.Add(1)
	b.bytes.Add(size)
	b.queue <- d // has room: the queue never holds more than held
	return true
}

// done makes room for a batch that was kept.
func (b *inbox) done(batch []delivery) {
	var size int64
	for _, d := range batch {
		size += int64(len(d.message.Payload))
	}
	b.held.Add(-int64(len(batch)))
	b.bytes.Add(-size)
	select {
	case b.freed <- struct{}{}:
	default:
	}
}

// waitForHalf returns when at least half of the inbox is free, or false when
// stop is closed first.
func (b *inbox) waitForHalf(stop <-chan struct{}) bool {
	for b.crowded() {
		select {
		case <-b.freed:
		case <-stop:
			return false
		}
	}
	return true
}

func (b *inbox) crowded() bool {
	return b.held.Load() > b.limit/2 || b.bytes.Load() > b.maxBytes/2
}
