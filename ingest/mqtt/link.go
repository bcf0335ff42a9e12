package mqtt

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/nightshelf/nightshelf/ingest"
)

const (
	keepAlive        = 30 * time.Second
	pingTimeout      = 10 * time.Second
	subscribeTimeout = 10 * time.Second
	goodbye          = 250 // ms in which a disconnect may be said
	// patience is how long the handler waits for room in the inbox. It must
	// stay well under pingTimeout: meanwhile no ping is answered.
	patience = 2 * time.Second
)

var errOverflow = errors.New("more messages came than could be kept; dropped the connection so that they come again")

// link is one connection to the broker, used once.
type link struct {
	s      *Subscriber
	client paho.Client
	down   chan struct{} // closed when the connection is of no more use

	mu   sync.Mutex
	conn net.Conn // guarded by mu, as is why
	why  error    // of its going; set before down is closed
}

// newLink prepares a connection; nothing is opened yet. Opening it ends with ctx.
func (s *Subscriber) newLink(ctx context.Context, password string) *link {
	l := &link{s: s, down: make(chan struct{})}
	o := paho.NewClientOptions().AddBroker("tcp://" + s.addr.host). // dial opens it, TLS or not
									SetClientID(s.o.ClientID).
									SetProtocolVersion(4). // no second try with 3.1 after a refusal
									SetUsername(s.o.Username).SetPassword(password).
									SetCleanSession(false).
									SetAutoAckDisabled(true).
									SetOrderMatters(true).
									SetAutoReconnect(false).SetConnectRetry(false). // run does both
									SetKeepAlive(keepAlive).SetPingTimeout(pingTimeout).
									SetConnectTimeout(connectTimeout).SetWriteTimeout(writeTimeout).
									SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) { return l.dial(ctx) }).
									SetConnectionLostHandler(func(_ paho.Client, err error) { l.lost(err) })
	l.client = paho.NewClient(o)
	// One route for everything, set before the connection: a resumed session
	// delivers before it is subscribed to, and overlapping filters would each
	// call their handler.
	l.client.AddRoute("#", l.take)
	return l
}

func (l *link) dial(ctx context.Context) (net.Conn, error) {
	conn, err := l.s.dial(ctx)
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.conn = conn
	return conn, nil
}

// open connects. It returns early, with everything closed, when ctx ends.
func (l *link) open(ctx context.Context) error {
	token := l.client.Connect()
	select {
	case <-token.Done():
	case <-ctx.Done():
		l.hangUp()
		<-token.Done() // soon: dialling ends with ctx, and the line is cut
		l.close()
		return ctx.Err()
	}
	if err := token.Error(); err != nil {
		return l.s.describe(err)
	}
	return nil
}

// describe says to whom a connection failed.
func (s *Subscriber) describe(err error) error {
	as := ""
	if s.o.Username != "" {
		as = fmt.Sprintf(" as %q", s.o.Username)
	}
	return fmt.Errorf("connect to %s%s: %w", s.addr.show, as, err)
}

// take is called by paho for every message, in order, on the goroutine that
// also reads the answers to pings.
func (l *link) take(_ paho.Client, m paho.Message) {
	if l.s.stopping() || l.isDown() {
		return // not acknowledged: it comes again
	}
	at := l.s.o.Now()
	d := delivery{
		message: ingest.Message{Topic: m.Topic(), Payload: m.Payload(), Arrived: at, Retained: m.Retained()},
		ack: func() bool {
			if l.isDown() {
				return false // paho would drop it without a word
			}
			m.Ack()
			return true
		},
	}
	if !l.s.inbox.put(d, patience, l.s.soft) {
		if !l.s.stopping() {
			l.s.track.overflow()
			l.drop(errOverflow)
		}
		return
	}
	oversize := len(m.Payload()) > l.s.o.MaxPayload
	l.s.track.message(at, m.Duplicate(), oversize)
	if oversize {
		l.s.log.Warn("message over the limit goes to the sink to be set aside",
			"topic", m.Topic(), "bytes", len(m.Payload()), "limit", l.s.o.MaxPayload)
	}
}

// subscribe asks for every topic and returns what was not granted.
func (l *link) subscribe(ctx context.Context) error {
	filters := make(map[string]byte, len(l.s.o.Topics))
	for _, t := range l.s.o.Topics {
		filters[t] = 1
	}
	ctx, cancel := context.WithTimeout(ctx, subscribeTimeout)
	defer cancel()
	token := l.client.SubscribeMultiple(filters, nil)
	select {
	case <-token.Done():
	case <-l.down:
		return l.reason()
	case <-ctx.Done():
		err := errors.New("subscribe: the broker did not answer")
		l.drop(err)
		return err
	}
	if err := token.Error(); err != nil {
		return fmt.Errorf("subscribe: %w", err)
	}
	granted, ok := token.(*paho.SubscribeToken)
	if !ok {
		return errors.New("subscribe: no answer to read")
	}
	return refusals(granted.Result())
}

// refusals says what a broker's answer to a subscription leaves out.
func refusals(granted map[string]byte) error {
	var lines []string
	for topic, code := range granted {
		switch {
		case code >= 0x80:
			lines = append(lines, fmt.Sprintf("the broker refuses topic %q", topic))
		case code == 0:
			lines = append(lines, fmt.Sprintf("the broker grants topic %q at QoS 0 only: what comes while we are away is lost", topic))
		}
	}
	if lines == nil {
		return nil
	}
	slices.Sort(lines)
	return errors.New(strings.Join(lines, "; "))
}

// lost is called by paho when the broker or the network ended the connection.
func (l *link) lost(err error) { l.markDown(fmt.Errorf("connection lost: %w", err)) }

// drop cuts the connection for a reason of ours. paho does not call lost for a
// connection that was closed on this side, so drop marks it itself.
func (l *link) drop(why error) {
	l.markDown(why)
	l.hangUp()
}

func (l *link) markDown(why error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.why == nil {
		l.why = why
		close(l.down)
	}
}

func (l *link) hangUp() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.conn != nil {
		_ = l.conn.Close() // often closed already
	}
}

func (l *link) isDown() bool {
	select {
	case <-l.down:
		return true
	default:
		return false
	}
}

func (l *link) reason() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.why
}

// close says goodbye, after what was acknowledged, and waits for paho.
func (l *link) close() {
	l.client.Disconnect(goodbye)
	l.hangUp()
}
