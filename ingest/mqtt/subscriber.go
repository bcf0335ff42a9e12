package mqtt

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"
)

const (
	firstReconnect = time.Second
	lastReconnect  = 30 * time.Second
	stableAfter    = 10 * time.Second // a connection that lasted so long was a good one
	stormAfter     = 3                // short connections in a row that make us suspicious
	// A refused subscription may be a mere collision of packet ids in the
	// broker, so the first new try is soon; later ones wait for somebody to
	// change the broker's rights.
	leastResub = time.Second
	firstResub = time.Second
	lastResub  = time.Minute
	// grace is what Stop allows, beyond its bound, for the sink and paho to
	// return; and what a Subscriber allows itself to finish after its
	// context has ended.
	stopGrace  = 2 * time.Second
	drainGrace = 10 * time.Second
)

// Subscriber takes messages from one broker. Its methods are safe for
// concurrent use.
type Subscriber struct {
	o     Options
	addr  address
	log   *slog.Logger
	inbox *inbox
	track tracker

	soft     chan struct{} // closed: take nothing more, finish what was taken
	softOnce sync.Once
	hard     context.Context // ended: finish nothing more
	giveUp   context.CancelFunc

	mu       sync.Mutex
	started  bool          // guarded by mu
	finished chan struct{} // closed when both goroutines have ended
	detach   func() bool   // from the context of Start; guarded by mu
}

// New checks the options and opens nothing.
func New(o Options) (*Subscriber, error) {
	if err := o.check(); err != nil {
		return nil, fmt.Errorf("mqtt: %w", err)
	}
	addr, err := parseURL(o.URL)
	if err != nil {
		return nil, fmt.Errorf("mqtt: %w", err)
	}
	o = o.withDefaults()
	o.Username = cmp.Or(o.Username, addr.user)
	if o.PasswordFile != "" && o.Username == "" {
		return nil, errors.New("mqtt: a password file without a user name")
	}
	s := &Subscriber{
		o:        o,
		addr:     addr,
		log:      o.Logger.With("broker", addr.show),
		inbox:    newInbox(o.Inbox, o.InboxBytes),
		soft:     make(chan struct{}),
		finished: make(chan struct{}),
	}
	s.hard, s.giveUp = context.WithCancel(context.Background())
	return s, nil
}

// Start begins to connect and returns at once: it does not fail because the
// broker is away, but keeps trying. The end of ctx begins the stop; Stop must
// be called all the same, and waits. Start works once.
func (s *Subscriber) Start(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.started {
		return errors.New("mqtt: started twice")
	}
	if s.stopping() {
		return errors.New("mqtt: already stopped")
	}
	s.started = true
	s.track.disconnected(s.o.Now(), errors.New("not connected yet"))
	s.detach = context.AfterFunc(ctx, func() {
		s.beginStop()
		time.AfterFunc(drainGrace, s.giveUp)
	})
	drained := make(chan struct{})
	var both sync.WaitGroup
	both.Go(func() { defer close(drained); s.collect() })
	both.Go(func() { s.run(drained) })
	go func() { both.Wait(); close(s.finished) }()
	return nil
}

// Stop takes nothing more, puts and acknowledges what was taken, and
// disconnects. When ctx ends first it gives up on what is left, which comes
// again, and returns an error. It may be called more than once, and without
// Start.
func (s *Subscriber) Stop(ctx context.Context) error {
	s.mu.Lock()
	started, detach := s.started, s.detach
	s.mu.Unlock()
	s.beginStop()
	defer s.giveUp()
	if !started {
		return nil
	}
	detach()
	select {
	case <-s.finished:
		return s.leftovers(nil)
	case <-ctx.Done():
	}
	s.giveUp()
	grace := time.NewTimer(stopGrace)
	defer grace.Stop()
	select {
	case <-s.finished:
		return s.leftovers(context.Cause(ctx))
	case <-grace.C:
		return fmt.Errorf("mqtt: the sink does not return: %w", context.Cause(ctx))
	}
}

// leftovers is the error that tells what was taken and not kept.
func (s *Subscriber) leftovers(cause error) error {
	n := s.inbox.held.Load()
	if n == 0 {
		return nil
	}
	if cause == nil {
		cause = errors.New("the sink failed to the end")
	}
	return fmt.Errorf("mqtt: %d messages were not stored and will come again: %w", n, cause)
}

// State tells how things stand.
func (s *Subscriber) State() State {
	st := s.track.snapshot()
	st.Waiting = int(s.inbox.held.Load())
	return st
}

func (s *Subscriber) beginStop() { s.softOnce.Do(func() { close(s.soft) }) }

func (s *Subscriber) stopping() bool {
	select {
	case <-s.soft:
		return true
	default:
		return false
	}
}
