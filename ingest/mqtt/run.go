package mqtt

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// run keeps a connection until the subscriber stops and drained is closed.
func (s *Subscriber) run(drained <-chan struct{}) {
	waits := newFullJitter(firstReconnect, lastReconnect)
	short := 0 // connections in a row that did not last
	wait := randomUpTo(s.o.FirstWait)
	for s.pause(wait) && s.waitForRoom() {
		began := time.Now()
		connected, err := s.session(drained)
		switch {
		case !connected:
		case time.Since(began) < stableAfter:
			short++
		default:
			short = 0
			waits.Reset()
		}
		if short >= stormAfter && err != nil {
			err = fmt.Errorf("%w (%d short connections in a row: does another client use the id %q?)", err, short, s.o.ClientID)
		}
		s.noteDown(err)
		wait = waits.NextBackOff()
	}
}

// pause waits, and reports false when the subscriber stops.
func (s *Subscriber) pause(d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return !s.stopping()
	case <-s.soft:
		return false
	}
}

// waitForRoom keeps us from connecting while there is no place for what a new
// connection would bring.
func (s *Subscriber) waitForRoom() bool {
	if s.inbox.crowded() {
		s.noteDown(errors.New("waiting until the messages at hand are stored before connecting again"))
	}
	return s.inbox.waitForHalf(s.soft)
}

func (s *Subscriber) noteDown(err error) {
	if s.stopping() {
		err = nil // whatever it is, we wanted it
	}
	if s.track.disconnected(s.o.Now(), err) && err != nil {
		s.log.Warn("not connected to the broker", "error", err)
	}
}

// session is one connection from its beginning to its end. It reports whether
// the connection was made, and why it ended; nil if we ended it.
func (s *Subscriber) session(drained <-chan struct{}) (connected bool, err error) {
	password, err := s.password()
	if err != nil {
		return false, err
	}
	ctx, cancel := context.WithCancel(s.hard)
	defer cancel()
	release := s.untilSoft(cancel)
	l := s.newLink(ctx, password)
	err = l.open(ctx)
	release()
	if err != nil {
		return false, err
	}
	defer l.close()
	s.track.connected(s.o.Now())
	s.log.Info("connected to the broker", "client_id", s.o.ClientID)
	return true, s.hold(l, drained)
}

// untilSoft calls cancel when the subscriber stops, until the returned
// function is called and has returned.
func (s *Subscriber) untilSoft(cancel func()) (release func()) {
	over, gone := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(gone)
		select {
		case <-s.soft:
			cancel()
		case <-over:
		}
	}()
	return func() { close(over); <-gone }
}

// hold subscribes, again and again if a topic is refused, and waits for the
// end of the connection or of the work.
func (s *Subscriber) hold(l *link, drained <-chan struct{}) error {
	waits := newFullJitter(firstResub, lastResub)
	for {
		err := l.subscribe(s.hard)
		if l.isDown() {
			return l.reason()
		}
		s.track.subscribed(err)
		var again <-chan time.Time
		if err != nil {
			s.log.Error("not subscribed", "error", err)
			again = time.After(leastResub + waits.NextBackOff())
		} else {
			s.log.Info("subscribed", "topics", s.o.Topics)
		}
		select {
		case <-l.down:
			return l.reason()
		case <-drained:
			return nil
		case <-again:
		}
	}
}
