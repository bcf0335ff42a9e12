package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"github.com/nightshelf/nightshelf/analysis/simulate"
)

// Times of the publisher.
const (
	publishConnect   = 10 * time.Second
	publishPatience  = 30 * time.Second // for the broker to take what was sent
	publishReconnect = 3 * time.Second
	publishAgain     = 300 * time.Millisecond
	publishQuiesce   = 250 // ms
)

// brokerOutlet publishes one message a step and waits, some messages later,
// until the broker has taken it.
type brokerOutlet struct {
	client  paho.Client
	topic   string
	pending []sending // not yet taken, the oldest first
}

// sending is one message on its way.
type sending struct {
	payload []byte
	token   paho.Token
}

// publishAhead is how many messages may be on their way. A broker lets few
// more through unacknowledged.
const publishAhead = 16

func (b *brokerOutlet) take(ctx context.Context, readings, entries []byte) error {
	payload := append(append([]byte(nil), readings...), entries...) // the client keeps it until it is taken
	if len(payload) > 0 {
		b.pending = append(b.pending, sending{payload, b.client.Publish(b.topic, 1, false, payload)})
	}
	return b.settle(ctx, publishAhead)
}

// settle waits until no more than most messages are on their way.
func (b *brokerOutlet) settle(ctx context.Context, most int) error {
	for len(b.pending) > most {
		if err := b.taken(ctx, b.pending[0]); err != nil {
			return fmt.Errorf("publish under %s: %w", b.topic, err)
		}
		b.pending = b.pending[1:]
	}
	return nil
}

// taken waits until the broker has taken a message. What a break of the
// connection caught on its way is sent again, so that it may come twice.
func (b *brokerOutlet) taken(ctx context.Context, s sending) error {
	patience, cancel := context.WithTimeoutCause(ctx, publishPatience, errTooSlow)
	defer cancel()
	for {
		select {
		case <-s.token.Done():
		case <-patience.Done():
			return context.Cause(patience)
		}
		failed := s.token.Error()
		if failed == nil {
			return nil
		}
		again := time.NewTimer(publishAgain)
		select {
		case <-again.C:
			s.token = b.client.Publish(b.topic, 1, false, s.payload)
		case <-patience.Done():
			again.Stop()
			return errors.Join(context.Cause(patience), failed)
		}
	}
}

var errTooSlow = fmt.Errorf("the broker has not taken a message for %v", publishPatience)

// connect opens the connection. Once it stands, it is opened again whenever
// it breaks. The session is not clean, so that what is published meanwhile
// waits for the next connection.
func (s *simulation) connect(ctx context.Context) (paho.Client, error) {
	o := paho.NewClientOptions().AddBroker(s.broker).SetClientID(fmt.Sprintf("nightshelf-simulate-%d", os.Getpid())).
		SetCleanSession(false).SetConnectTimeout(publishConnect).SetMaxReconnectInterval(publishReconnect).SetUsername(s.username)
	if s.password != "" {
		text, err := os.ReadFile(s.password)
		if err != nil {
			return nil, fmt.Errorf("read password: %w", err)
		}
		o.SetPassword(strings.TrimRight(string(text), "\r\n"))
	}
	if len(o.Servers) == 0 {
		return nil, &wrongUse{errors.New("--broker is no address such as tcp://127.0.0.1:1883")}
	}
	client := paho.NewClient(o)
	token := client.Connect()
	select {
	case <-token.Done():
	case <-ctx.Done():
		client.Disconnect(0)
		return nil, context.Cause(ctx)
	}
	if err := token.Error(); err != nil {
		return nil, fmt.Errorf("connect to broker %s: %w", o.Servers[0].Redacted(), err)
	}
	return client, nil
}

// publish plays the room to a broker.
func (s *simulation) publish(ctx context.Context, plan *simulate.Plan, progress io.Writer) error {
	if plan.Start.After(time.Now()) {
		return &wrongUse{fmt.Errorf("--start %s is yet to come: readings of the future are not published", s.start)}
	}
	client, err := s.connect(ctx)
	if err != nil {
		return err
	}
	defer client.Disconnect(publishQuiesce)
	to := &brokerOutlet{client: client, topic: s.topic}
	c := clock{speed: s.speed, quickUntil: s.quickUntil(plan)}
	p := player{room: simulate.New(*plan, s.seed), plan: plan, to: to, pace: c.wait, progress: progress}
	if err := p.play(ctx); err != nil {
		return err
	}
	// What was sent is worth a moment even when the time given is over.
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), publishPatience)
	defer cancel()
	return to.settle(last, 0)
}

// clock tells how long the room has to wait for the world.
type clock struct {
	speed      float64 // seconds of the room in a second; 0 waits for the present only
	quickUntil time.Time
	from       time.Time // since when it is paced
}

// due returns when the room's time has come, now being the time here.
func (c *clock) due(room, now time.Time) time.Time {
	present := room // no reading comes before its time
	if c.speed == 0 || room.Before(c.quickUntil) {
		return present
	}
	if c.from.IsZero() {
		c.from, c.quickUntil = now, room
	}
	paced := c.from.Add(time.Duration(float64(room.Sub(c.quickUntil)) / c.speed))
	if paced.After(present) {
		return paced
	}
	return present
}

func (c *clock) wait(ctx context.Context, room time.Time) error {
	left := time.Until(c.due(room, time.Now()))
	if left <= 0 {
		return nil
	}
	timer := time.NewTimer(left)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
