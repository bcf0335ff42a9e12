package broker

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

const (
	maxClients      = 1024  // connected at once
	maxPending      = 1024  // messages waiting to be written to one subscriber
	sessionSeconds  = 86400 // a subscriber that was away longer starts anew
	sysTopicSeconds = 60    // between two looks at the broker's own figures
	// stopGrace is what Stop allows, beyond its bound, for the sink to return;
	// drainGrace what the sink gets when only the context has ended.
	stopGrace  = 2 * time.Second
	drainGrace = 10 * time.Second
)

// Broker is an MQTT broker whose acknowledgements mean 'on disk'. Its methods
// are safe for concurrent use.
type Broker struct {
	o       Options
	log     *slog.Logger
	server  *mochi.Server
	filters *mochi.TopicsIndex // matches Options.Topics
	track   tracker

	hard   context.Context // of every Put
	giveUp context.CancelFunc
	busy   sync.WaitGroup // messages that are with the sink

	mu       sync.Mutex
	listener *listener     // guarded by mu; nil before Start
	stopping chan struct{} // closed under mu: no message goes to the sink any more
	stopped  bool          // guarded by mu
	detach   func() bool   // from the context of Start; guarded by mu
	finished chan struct{} // closed when everything has ended
}

// New checks the options and opens nothing.
func New(o Options) (*Broker, error) {
	o = o.withDefaults()
	if err := o.check(); err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	if _, err := o.resolve(); err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	b := &Broker{
		o:        o,
		log:      o.Logger,
		filters:  mochi.NewTopicsIndex(),
		stopping: make(chan struct{}),
		finished: make(chan struct{}),
	}
	for _, t := range o.Topics {
		b.filters.Subscribe("sink", packets.Subscription{Filter: t})
	}
	b.hard, b.giveUp = context.WithCancel(context.Background())
	return b, nil
}

// library makes the broker of the library, which keeps nothing on disk.
func (b *Broker) library() (*mochi.Server, error) {
	c := mochi.NewDefaultServerCapabilities()
	c.MaximumClients = maxClients
	c.MaximumClientWritesPending = maxPending
	c.MaximumInflight = maxPending
	c.MaximumSessionExpiryInterval = sessionSeconds
	c.MaximumPacketSize = uint32(b.o.MaxPacket)
	server := mochi.New(&mochi.Options{
		Capabilities:           c,
		Logger:                 slog.New(quiet{to: b.log.Handler()}),
		SysTopicResendInterval: sysTopicSeconds,
	})
	return server, server.AddHook(&hook{b: b}, nil)
}

// Start listens and serves. It fails when the address cannot be had. The end
// of ctx begins the stop; Stop must be called all the same, and waits. Start
// works once.
func (b *Broker) Start(ctx context.Context) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.listener != nil || b.stopped {
		return errors.New("broker: started twice, or after it was stopped")
	}
	l, err := b.listen()
	if err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	if err := b.serve(l); err != nil {
		_ = l.Close()
		return fmt.Errorf("broker: serve: %w", err)
	}
	b.detach = context.AfterFunc(ctx, func() {
		b.beginStop()
		time.AfterFunc(drainGrace, b.giveUp)
	})
	b.track.listening(b.o.Now(), true)
	b.log.Info("broker listens", "address", l.Addr().String())
	if !b.o.open() && !l.Addr().(*net.TCPAddr).IP.IsLoopback() {
		b.log.Warn("passwords travel unencrypted to this broker; keep it inside a network you trust", "address", l.Addr().String())
	}
	return nil
}

func (b *Broker) listen() (*net.TCPListener, error) {
	addr, err := b.o.resolve()
	if err != nil {
		return nil, err
	}
	l, err := net.ListenTCP("tcp", addr)
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("listen on %q: the port is taken; is another broker running? %w", b.o.Address, err)
	}
	if err != nil {
		return nil, fmt.Errorf("listen on %q: %w", b.o.Address, err)
	}
	return l, nil
}

func (b *Broker) serve(l net.Listener) error {
	server, err := b.library()
	if err != nil {
		return err
	}
	b.server = server // before any connection, which reads it
	own := newListener(l, b.log)
	if err := server.AddListener(own); err != nil {
		return err
	}
	if err := server.Serve(); err != nil {
		return err
	}
	b.listener = own
	return nil
}

// Addr is the address it listens on, with the real port; before Start the one
// it was told.
func (b *Broker) Addr() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.listener == nil {
		return b.o.Address
	}
	return b.listener.Address()
}

// State tells how things stand.
func (b *Broker) State() State {
	b.mu.Lock()
	server := b.server
	b.mu.Unlock()
	s := b.track.snapshot()
	if server != nil && s.Listening {
		s.Clients = int(atomic.LoadInt64(&server.Info.ClientsConnected))
	}
	return s
}

// Stop accepts nothing more, lets the sink finish what it has, and disconnects
// everybody. When ctx ends first it gives up on what is with the sink, which
// its sender sends again, and returns an error. It may be called more than
// once, and without Start.
func (b *Broker) Stop(ctx context.Context) error {
	b.beginStop()
	defer b.giveUp()
	select {
	case <-b.finished:
		return nil
	case <-ctx.Done():
	}
	b.giveUp()
	grace := time.NewTimer(stopGrace)
	defer grace.Stop()
	select {
	case <-b.finished:
		return fmt.Errorf("broker: messages that were with the sink were given up: %w", context.Cause(ctx))
	case <-grace.C:
		return fmt.Errorf("broker: the sink does not return: %w", context.Cause(ctx))
	}
}

// beginStop lets nothing more in and starts what Stop waits for.
func (b *Broker) beginStop() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.stopped {
		return
	}
	b.stopped = true
	close(b.stopping)
	if b.listener != nil {
		b.detach()
		b.listener.refuseNew()
	}
	go b.finish()
}

// finish waits for the sink and ends all connections.
func (b *Broker) finish() {
	defer close(b.finished)
	b.busy.Wait()
	b.mu.Lock()
	server, served := b.server, b.listener != nil
	b.mu.Unlock()
	if served {
		_ = server.Close() // never fails
		b.track.listening(b.o.Now(), false)
	}
}
