// Package daemon wires the parts of Nightshelf into one that watches a room:
// messages come in from a broker, are kept, judged, and what is decided goes
// out as calls; a page shows it. It is the only place that knows all parts.
//
// The order of things is the promise: a message is acknowledged after it is
// on disk (intake); what is on disk is taken in by the watch, and what it
// decides is on disk before anybody is called (watch); a call is forgotten
// only after a receiver has taken it (outbox).
package daemon

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/alerts/ledger"
	"github.com/nightshelf/nightshelf/alerts/outbox"
	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// Options are what a Daemon is made of.
type Options struct {
	Config *config.Config
	Logger *slog.Logger     // nil: silent
	Now    func() time.Time // the wall clock; nil: time.Now
	// Version is shown at the foot of the page.
	Version string
}

// Daemon watches one room.
type Daemon struct {
	config *config.Config
	log    *slog.Logger
	now    func() time.Time

	version  string
	store    *store.Store
	ledger   *ledger.Ledger
	intake   *intake
	book     *book
	watch    *watch
	outbox   *outbox.Outbox
	link     link
	registry *prometheus.Registry
	server   *http.Server
	listener net.Listener

	ping  pinger // of the database
	undo  []step // what Stop does, the last first
	group sync.WaitGroup
	fatal chan error // what ends the daemon while it runs
}

// step is one thing to undo, with its name for the log.
type step struct {
	name string
	do   func(context.Context) error
}

func (d *Daemon) onStop(name string, do func(context.Context) error) {
	d.undo = append(d.undo, step{name, do})
}

// New builds everything that can fail and serves nothing yet: the database is
// open, the address of the page is taken. After an error nothing is left open.
func New(ctx context.Context, o Options) (_ *Daemon, err error) {
	d := &Daemon{config: o.Config, log: o.Logger, now: o.Now, version: o.Version, registry: newRegistry(), fatal: make(chan error, 4)}
	if d.log == nil {
		d.log = slog.New(slog.DiscardHandler)
	}
	if d.now == nil {
		d.now = time.Now
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.Stop(context.WithoutCancel(ctx)))
		}
	}()
	for _, build := range []func(context.Context) error{d.openStore, d.buildIntake, d.buildBook, d.buildWatch, d.buildOutbox, d.buildLink, d.buildPage} {
		if err = build(ctx); err != nil {
			return nil, err
		}
	}
	return d, nil
}

func (d *Daemon) openStore(ctx context.Context) error {
	s, err := store.Open(ctx, d.config.Data)
	if err != nil {
		return err
	}
	d.store = s
	d.onStop("store", func(context.Context) error { return s.Close() })
	d.ledger, err = ledger.Open(ctx, s)
	return err
}

func (d *Daemon) buildIntake(ctx context.Context) error {
	decoder, err := decode(d.config)
	if err != nil {
		return err
	}
	d.intake = newIntake(d.store, decoder, newCounters(d.registry))
	for _, v := range d.config.Vessels {
		d.intake.known[v.Name] = true
	}
	seen, err := d.store.Vessels(ctx)
	if err != nil {
		return fmt.Errorf("read the names of vessels: %w", err)
	}
	for _, v := range seen {
		// Names not heard of for long leave their place to others.
		if d.now().Sub(v.Last) < othersFor {
			d.intake.others[v.Name] = true
		}
	}
	return nil
}

func (d *Daemon) buildWatch(ctx context.Context) error {
	c := d.config
	follow := c.Clock == config.Readings
	courses := d.courses(ctx)
	fresh := func() *room.Room {
		return room.New(room.Options{Name: c.Room, Zone: c.Zone, Vessels: Vessels(c), Lateness: c.Lateness, FollowReadings: follow, FalseCalls: c.FalseCallsAMonth, Courses: courses,
			Staffed:   func(t time.Time) bool { return c.Staffed.Staffed(t, c.Zone) },
			PublicURL: c.PublicURL, Past: d.past})
	}
	d.watch = &watch{store: d.store, ledger: d.ledger, follow: follow, log: d.log, now: d.now, wake: func() {}, fresh: fresh, room: fresh(),
		news: make(chan struct{}, 1), acks: make(chan acknowledgement)}
	d.intake.news = d.watch.nudge
	if err := d.watch.resume(ctx); err != nil {
		return err
	}
	return d.endForgotten(ctx)
}

// past reads a vessel's stored readings, for a room that lives through them
// again.
func (d *Daemon) past(vessel string, from, to time.Time) iter.Seq2[ingest.Reading, error] {
	return d.store.Readings(context.Background(), store.Range{Vessel: vessel, From: from, To: to})
}

// endForgotten ends the alarms of vessels that are no longer configured:
// nothing is heard of them that could.
func (d *Daemon) endForgotten(ctx context.Context) error {
	open, err := d.ledger.Alarms(ctx, ledger.Filter{OpenOnly: true})
	if err != nil {
		d.log.Error("read the open alarms", "error", err) // the good ones come all the same
	}
	var out room.Outcome
	for _, a := range open {
		if !d.intake.known[a.Vessel] {
			a.State, a.Ended = alerts.Normal, d.now()
			out.Alarms = append(out.Alarms, a)
		}
	}
	d.watch.add(out)
	return d.watch.save(ctx, false)
}

func (d *Daemon) buildOutbox(context.Context) error {
	receivers, err := phones(d.config)
	if err != nil {
		return err
	}
	d.outbox = newOutbox(d, receivers)
	d.watch.wake = d.outbox.Wake
	return nil
}

func (d *Daemon) buildLink(context.Context) (err error) {
	d.link, err = newLink(d.config, d.intake, d.log, d.now)
	return err
}

// othersFor is how long a vessel that is not configured counts among those
// that are kept.
const othersFor = 30 * 24 * time.Hour

// readTimeout and its like bound what a slow client can hold open.
const (
	readTimeout  = 10 * time.Second
	writeTimeout = 60 * time.Second
	idleTimeout  = 2 * time.Minute
)

func (d *Daemon) buildPage(ctx context.Context) error {
	d.registry.MustRegister(newGauges(d))
	s := &shelf{d: d, trails: map[string]trail{}}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(d.registry, promhttp.HandlerOpts{}))
	mux.Handle("/", page.Handler(page.Options{Source: s, History: s, Health: d, Acknowledger: d, Logbook: d.book, Planner: d.book, PublicURL: d.config.PublicURL, Log: d.log, Version: d.version}))
	d.server = &http.Server{Handler: ownHost(d.config, mux), ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout,
		ErrorLog: slog.NewLogLogger(d.log.Handler(), slog.LevelDebug)}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", d.config.Listen)
	if err != nil {
		return fmt.Errorf("page: listen on %s: %w (another nightshelf, or another program, may be using the port)", d.config.Listen, err)
	}
	d.listener = l
	d.onStop("page's port", func(context.Context) error {
		if err := l.Close(); !errors.Is(err, net.ErrClosed) {
			return err
		}
		return nil
	})
	return nil
}

// PageURL is where the page answers.
func (d *Daemon) PageURL() string { return "http://" + d.listener.Addr().String() }

// BrokerAddress is where readings come from, for people.
func (d *Daemon) BrokerAddress() string { return d.link.Address() }

// Start lets the parts work, the inner ones first, so that the edges find
// everything behind them ready.
func (d *Daemon) Start(ctx context.Context) error {
	d.goUntilStop("packing", d.pack)
	d.goUntilStop("intake", d.intake.run)
	d.goUntilStop("watch", d.watch.run)
	if err := d.outbox.Start(ctx); err != nil {
		return fmt.Errorf("start the outbox: %w", err)
	}
	d.onStop("outbox", d.outbox.Stop)
	if err := d.link.Start(ctx); err != nil {
		return err
	}
	d.onStop("broker", d.link.Stop)
	d.group.Go(func() {
		if err := d.server.Serve(d.listener); !errors.Is(err, http.ErrServerClosed) {
			d.fatal <- fmt.Errorf("page: %w", err)
		}
	})
	d.onStop("page", func(ctx context.Context) error {
		defer d.server.Close()
		return d.server.Shutdown(ctx)
	})
	d.log.Info("watching", "room", d.config.Room, "vessels", len(d.config.Vessels), "page", d.PageURL(), "broker", d.BrokerAddress())
	return nil
}

// goUntilStop runs f until the daemon stops; stopping waits for it.
func (d *Daemon) goUntilStop(name string, f func(context.Context)) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		f(ctx)
	}()
	d.onStop(name, func(stop context.Context) error {
		cancel()
		select {
		case <-done:
			return nil
		case <-stop.Done():
			return stop.Err()
		}
	})
}

// Stop undoes what was done, the edges first and the state last: no more
// messages, what was taken is committed and acknowledged, the watch writes
// down where it stands, the database is closed. ctx bounds the whole.
func (d *Daemon) Stop(ctx context.Context) error {
	var faults []error
	for i := len(d.undo) - 1; i >= 0; i-- {
		s := d.undo[i]
		if err := s.do(ctx); err != nil {
			faults = append(faults, fmt.Errorf("stop the %s: %w", s.name, err))
		}
	}
	d.undo = nil
	d.group.Wait()
	return errors.Join(faults...)
}

// stopWithin bounds a clean stop.
const stopWithin = 15 * time.Second

// Run starts the daemon, waits until ctx is done or a part fails for good, and
// stops it.
func (d *Daemon) Run(ctx context.Context) error {
	err := d.Start(ctx)
	if err == nil {
		select {
		case <-ctx.Done():
		case err = <-d.fatal:
		}
	}
	d.log.Info("stopping")
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer cancel()
	return errors.Join(err, d.Stop(stop))
}

var _ page.Acknowledger = (*Daemon)(nil)

// Acknowledge implements page.Acknowledger.
func (d *Daemon) Acknowledge(ctx context.Context, id, who string) error {
	a := acknowledgement{id: id, who: who, reply: make(chan error, 1)}
	select {
	case d.watch.acks <- a:
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-a.reply:
		if errors.Is(err, errUnknownAlarm) {
			return page.ErrUnknownAlarm
		}
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}
