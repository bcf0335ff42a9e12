package daemon

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/cmd/internal/page"
)

var _ page.Health = (*Daemon)(nil)

const (
	// pingWithin bounds the question to the database.
	pingWithin = time.Second
	// backlogMost is how many batches may wait before the watch counts as
	// behind: minutes of a busy room, and well over what comes in between two
	// savings of its memory.
	backlogMost = 5000
)

// Ready implements page.Health.
func (d *Daemon) Ready() []page.Part {
	ctx, cancel := context.WithTimeout(context.Background(), pingWithin)
	defer cancel()
	parts := []page.Part{d.brokerPart(), {Name: "store", OK: true}}
	if err := d.ping.ask(ctx, d.now(), d.store.Ping); err != nil {
		parts[1] = page.Part{Name: "store", Detail: err.Error()}
	}
	return append(parts, d.backlogPart(), d.clockPart(), d.callsPart())
}

func (d *Daemon) brokerPart() page.Part {
	s := d.link.State()
	p := page.Part{Name: "broker", OK: s.OK, Detail: s.Detail}
	if p.OK && !s.Last.IsZero() {
		p.Detail = fmt.Sprintf("last message %s ago", d.now().Sub(s.Last).Round(time.Second))
	}
	return p
}

// pingEvery is how often the disk is asked at most: asking is a write, and
// anybody may ask for readiness.
const pingEvery = 5 * time.Second

// pinger remembers what the disk last answered.
type pinger struct {
	mu  sync.Mutex // guards the rest
	at  time.Time
	err error
}

func (p *pinger) ask(ctx context.Context, now time.Time, ping func(context.Context) error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if since := now.Sub(p.at); since >= 0 && since < pingEvery {
		return p.err
	}
	p.at, p.err = now, ping(ctx)
	return p.err
}

// clockApart is how far the room's time may be from the clock before the watch
// counts as not watching: well over the wait for a broker's backlog.
const clockApart = 5 * time.Minute

// clockPart tells whether the room lives in the present.
func (d *Daemon) clockPart() page.Part {
	v := d.watch.view.Load()
	if d.watch.follow || v == nil || v.now.IsZero() {
		return page.Part{Name: "clock", OK: true}
	}
	if apart := d.now().Sub(v.now); apart > clockApart || apart < -clockApart {
		return page.Part{Name: "clock", Detail: fmt.Sprintf("the room's time is %s, the clock's %s", v.now.Format(time.RFC3339), d.now().UTC().Format(time.RFC3339))}
	}
	return page.Part{Name: "clock", OK: true}
}

func (d *Daemon) backlogPart() page.Part {
	v := d.watch.view.Load()
	switch {
	case v == nil:
		return page.Part{Name: "backlog", Detail: "the watch has not begun"}
	case v.stuck != "":
		return page.Part{Name: "backlog", Detail: v.stuck}
	}
	n, err := d.backlog()
	switch {
	case err != nil:
		return page.Part{Name: "backlog", Detail: err.Error()}
	case n > backlogMost:
		return page.Part{Name: "backlog", Detail: fmt.Sprintf("%d batches wait to be judged", n)}
	}
	return page.Part{Name: "backlog", OK: true}
}

// backlog counts the batches whose outcome is not on disk yet.
func (d *Daemon) backlog() (int64, error) {
	ctx, cancel := context.WithTimeout(context.Background(), pingWithin)
	defer cancel()
	return d.store.Backlog(ctx)
}
