// Package outbox delivers calls that must arrive. It takes the calls that are
// due from the ledger, brings each to the phones in order until one has taken
// it, and writes down every attempt before the next.
//
// A call arrives at least once: when the process ends after a receiver took
// the call and before that is written down, it is brought again under the same
// id, by which receivers know it. A call that cannot arrive is written down as
// failed or expired, with the reason, and logged as an error.
package outbox

import (
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// Store is where calls are kept.
type Store interface {
	// Due returns queued calls whose next attempt is due at now, the most
	// urgent first, at most most of them.
	Due(ctx context.Context, now time.Time, most int) ([]alerts.Call, error)
	// NextDue returns when a queued call is next due; false if none is queued.
	NextDue(ctx context.Context) (time.Time, bool, error)
	// Attempted writes down an attempt; it is on disk when nil is returned.
	Attempted(ctx context.Context, id string, a alerts.Attempt) error
}

// Phone is a receiver of calls.
type Phone struct {
	Name string // its own: no two phones share it
	// Send makes one attempt and waits for its end.
	Send func(ctx context.Context, c alerts.Call) alerts.Result
}

// Options are what an Outbox is made of.
type Options struct {
	Store  Store
	Phones []Phone // in the order in which they are tried
	Logger *slog.Logger
	// Jitter draws a share from 0 to 1; nil: at random.
	Jitter func() float64
	// Attempted is told of every attempt, for metrics; nil: nobody asks.
	Attempted func(alerts.Result)
}

const (
	// base and most bound the wait between attempts: full jitter, a random
	// share of min(most, base 2^n) (AWS Architecture Blog, "Exponential
	// Backoff And Jitter", 2015, from memory). A night call is worth an
	// attempt every few minutes for as long as it is worth anything.
	base = 5 * time.Second
	most = 5 * time.Minute
	// least keeps a draw near zero from hammering a receiver.
	least = time.Second
	// helping is how many calls are taken at a time.
	helping = 16
	// rest is the wait after trouble with the store itself.
	rest = 5 * time.Second
	// idle is how often the store is asked without anybody having called; it
	// also bounds what a clock that was set can do to a wait.
	idle = time.Minute
	// longest bounds one attempt, writing the writing down of one.
	longest = time.Minute
	writing = 5 * time.Second
)

// Outbox delivers calls. Make it with New.
type Outbox struct {
	o    Options
	wake chan struct{}
	seen memory // belongs to run

	mu     sync.Mutex // guards the rest
	cancel context.CancelFunc
	done   chan struct{}
	state  State
}

// State tells how the outbox stands.
type State struct {
	Delivered int64 // since the start
	Failed    int64 // failed or expired, since the start
	Retrying  int   // attempts since one last arrived
	Queued    int   // calls taken up that have not ended; after a start, once they are due
	Unwritten int   // calls of which an attempt could not be written down yet
	LastError string
	Oldest    time.Time // when the oldest of Queued was queued, by the wall clock; zero if none
}

// New returns an outbox that does not run yet.
func New(o Options) *Outbox {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Jitter == nil {
		o.Jitter = rand.Float64
	}
	if o.Attempted == nil {
		o.Attempted = func(alerts.Result) {}
	}
	return &Outbox{o: o, wake: make(chan struct{}, 1), seen: newMemory()}
}

// Start begins to deliver.
func (b *Outbox) Start(context.Context) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.cancel != nil {
		return errors.New("outbox: started already")
	}
	ctx, cancel := context.WithCancel(context.Background())
	b.cancel, b.done = cancel, make(chan struct{})
	go b.run(ctx, b.done)
	return nil
}

// Stop ends delivering, cutting an attempt under way short; what was not
// delivered stays queued. ctx bounds the wait. It may be called twice, and
// without Start.
func (b *Outbox) Stop(ctx context.Context) error {
	b.mu.Lock()
	cancel, done := b.cancel, b.done
	b.mu.Unlock()
	if cancel == nil {
		return nil
	}
	cancel()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Wake says that calls were queued. It never blocks.
func (b *Outbox) Wake() {
	select {
	case b.wake <- struct{}{}:
	default: // it will look anyway
	}
}

// State tells how the outbox stands.
func (b *Outbox) State() State {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.state
}

func (b *Outbox) note(change func(*State)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change(&b.state)
}
