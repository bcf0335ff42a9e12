package mqtt

import (
	"fmt"
	"time"

	"github.com/cenkalti/backoff/v5"
	"github.com/nightshelf/nightshelf/ingest"
)

const (
	maxBatchBytes = 8 << 20 // payloads in one Put, after which no more are added
	firstPutRetry = 100 * time.Millisecond
	lastPutRetry  = 10 * time.Second
)

// collect puts what comes in until the subscriber stops and the inbox is
// empty, or until it may not wait any longer.
func (s *Subscriber) collect() {
	for {
		batch := s.gather()
		if len(batch) == 0 {
			return
		}
		if !s.keep(batch) {
			return
		}
	}
}

// gather waits for a message and takes what follows close behind. It returns
// nothing when the subscriber stops and nothing is left.
func (s *Subscriber) gather() []delivery {
	first, ok := s.next(nil)
	if !ok {
		return nil
	}
	batch := append(make([]delivery, 0, 16), first)
	size := len(first.message.Payload)
	idle := time.NewTimer(s.o.Idle)
	defer idle.Stop()
	for len(batch) < s.o.MaxBatch && size < maxBatchBytes {
		select { // without the timer while there is plenty
		case d := <-s.inbox.queue:
			batch, size = append(batch, d), size+len(d.message.Payload)
			continue
		default:
		}
		idle.Reset(s.o.Idle)
		d, ok := s.next(idle.C)
		if !ok {
			break
		}
		batch, size = append(batch, d), size+len(d.message.Payload)
	}
	return batch
}

// next waits for one message; false means that there is none and the time is
// over, or the subscriber stops.
func (s *Subscriber) next(timeout <-chan time.Time) (delivery, bool) {
	select {
	case d := <-s.inbox.queue:
		return d, true
	case <-timeout:
		return delivery{}, false
	case <-s.soft:
	}
	select {
	case d := <-s.inbox.queue:
		return d, true
	default:
		return delivery{}, false
	}
}

// keep brings a batch to the sink until the sink has it, then acknowledges
// each message in order of arrival. False means that the time ran out; nothing
// of it is acknowledged then and all of it comes again.
func (s *Subscriber) keep(batch []delivery) bool {
	messages := make([]ingest.Message, len(batch))
	for i, d := range batch {
		messages[i] = d.message
	}
	put := func() (struct{}, error) { return struct{}{}, s.o.Sink.Put(s.hard, messages) }
	_, err := backoff.Retry(s.hard, put,
		backoff.WithBackOff(newFullJitter(firstPutRetry, lastPutRetry)),
		backoff.WithMaxElapsedTime(0), // for ever: the broker keeps the rest meanwhile
		backoff.WithNotify(func(err error, wait time.Duration) { s.putFailed(err, len(batch), wait) }))
	if err != nil {
		s.track.sink(fmt.Errorf("stopped before %d messages were stored: %w", len(batch), err))
		return false
	}
	if s.track.sink(nil) {
		s.log.Info("messages are stored again", "messages", len(batch))
	}
	var n int64
	for _, d := range batch {
		if d.ack() {
			n++
		}
	}
	s.track.acknowledged(n)
	s.inbox.done(batch)
	return true
}

func (s *Subscriber) putFailed(err error, messages int, wait time.Duration) {
	if s.track.sink(fmt.Errorf("store messages: %w", err)) {
		s.log.Error("messages cannot be stored; they are not acknowledged and stay with the broker",
			"error", err, "messages", messages)
		return
	}
	s.log.Debug("messages still cannot be stored", "error", err, "messages", messages, "retry_in", wait)
}
