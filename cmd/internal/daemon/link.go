package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/broker"
	"github.com/nightshelf/nightshelf/ingest/mqtt"
)

// link is how readings come in: from a broker elsewhere or from our own.
type link interface {
	Start(context.Context) error
	Stop(context.Context) error
	State() linkState
	// Address is where the broker is, for people.
	Address() string
}

// linkState is what the page, readiness and metrics tell of a link.
type linkState struct {
	OK       bool      // readings can come in
	Detail   string    // why not
	Last     time.Time // when the newest message came
	Connects int64
}

func newLink(c *config.Config, sink ingest.Sink, log *slog.Logger, now func() time.Time) (link, error) {
	if c.Broker.URL != "" {
		s, err := mqtt.New(mqtt.Options{URL: c.Broker.URL, ClientID: c.Broker.ClientID, Username: c.Broker.Username,
			PasswordFile: c.Broker.Password.File(), Topics: c.Filters(), Sink: sink, Logger: log,
			MaxPayload: c.Broker.MaxPayload, Now: now})
		if err != nil {
			return nil, fmt.Errorf("broker: %w", err)
		}
		return &remote{s, c.Broker.URL}, nil
	}
	o := broker.Options{Address: c.Broker.Embedded, Topics: c.Filters(), MaxPayload: c.Broker.MaxPayload, Sink: sink, Logger: log, Now: now}
	if c.Broker.Username != "" {
		o.Users = map[string]string{c.Broker.Username: c.Broker.Password.Reveal()}
	}
	b, err := broker.New(o)
	if err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	return &embedded{b}, nil
}

// remote is a broker that runs elsewhere.
type remote struct {
	*mqtt.Subscriber
	url string
}

func (r *remote) Address() string { return r.url }

func (r *remote) State() linkState {
	s := r.Subscriber.State()
	out := linkState{OK: s.Connected && s.Subscribed, Detail: s.LastError, Last: s.LastMessage, Connects: s.Connects}
	if !out.OK && out.Detail == "" {
		out.Detail = "not connected yet"
	}
	return out
}

// embedded is our own broker.
type embedded struct {
	*broker.Broker
}

func (e *embedded) Address() string { return e.Addr() }

func (e *embedded) State() linkState {
	s := e.Broker.State()
	out := linkState{OK: s.Listening, Detail: s.LastError, Last: s.LastMessage, Connects: s.Connects}
	if !out.OK && out.Detail == "" {
		out.Detail = "not listening yet"
	}
	return out
}
