package broker

import (
	"context"
	"errors"
	"net"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/nightshelf/nightshelf/ingest"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// patienceOfTest bounds every wait; the machine may be busy.
const patienceOfTest = 30 * time.Second

// atGate is one Put that waits to be told how it ends.
type atGate struct {
	messages []ingest.Message
	end      chan error
}

// gated is a sink whose every Put is ended by the test.
type gated struct{ puts chan atGate }

func newGated() *gated { return &gated{puts: make(chan atGate)} }

func (g *gated) Put(ctx context.Context, messages []ingest.Message) error {
	p := atGate{messages: messages, end: make(chan error, 1)}
	select {
	case g.puts <- p:
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-p.end:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// next waits for a Put.
func (g *gated) next(t *testing.T) atGate {
	t.Helper()
	select {
	case p := <-g.puts:
		return p
	case <-time.After(patienceOfTest):
		t.Fatal("nothing came to the sink")
		panic("unreachable")
	}
}

// memory is a sink that keeps everything.
type memory struct {
	mu   sync.Mutex
	kept []ingest.Message
}

func (m *memory) Put(_ context.Context, messages []ingest.Message) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.kept = append(m.kept, messages...)
	return nil
}

func (m *memory) topics() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []string
	for _, x := range m.kept {
		out = append(out, x.Topic)
	}
	return out
}

// start runs a broker on a free port until the test ends.
func start(t testing.TB, sink ingest.Sink, change func(*Options)) *Broker {
	t.Helper()
	o := Options{Address: "127.0.0.1:0", Sink: sink}
	if change != nil {
		change(&o)
	}
	b, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Start(context.Background()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patienceOfTest)
		defer cancel()
		if err := b.Stop(ctx); err != nil {
			t.Errorf("stop: %v", err)
		}
	})
	return b
}

// client speaks MQTT 3.1.1 packet by packet, so that a test sees what is
// answered and what is not.
type client struct {
	t    testing.TB
	conn net.Conn
}

func dial(t testing.TB, b *Broker) *client {
	t.Helper()
	conn, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return &client{t: t, conn: conn}
}

// connect dials and introduces itself.
func connect(t testing.TB, b *Broker, id string) *client {
	t.Helper()
	c := dial(t, b)
	if code := c.login(id, "", ""); code != 0 {
		t.Fatalf("connection refused with code %d", code)
	}
	return c
}

// login sends CONNECT and returns the code of the CONNACK.
func (c *client) login(id, user, password string) byte {
	c.t.Helper()
	pk := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	pk.ProtocolName, pk.ProtocolVersion = "MQTT", 4
	pk.ClientIdentifier, pk.Keepalive = id, 60
	pk.UsernameFlag, pk.Username = user != "", user
	pk.PasswordFlag, pk.Password = password != "", []byte(password)
	c.send(pk)
	return read[*packets.ConnackPacket](c).ReturnCode
}

func (c *client) send(pk packets.ControlPacket) {
	c.t.Helper()
	if err := pk.Write(c.conn); err != nil {
		c.t.Fatalf("send: %v", err)
	}
}

func (c *client) publish(id uint16, topic, payload string) {
	c.t.Helper()
	pk := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	pk.MessageID, pk.TopicName, pk.Payload = id, topic, []byte(payload)
	if id != 0 {
		pk.Qos = 1
	}
	c.send(pk)
}

func (c *client) subscribe(filter string) {
	c.t.Helper()
	pk := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	pk.MessageID, pk.Topics, pk.Qoss = 1, []string{filter}, []byte{1}
	c.send(pk)
	if codes := read[*packets.SubackPacket](c).ReturnCodes; !slices.Equal(codes, []byte{1}) {
		c.t.Fatalf("subscription answered with %v", codes)
	}
}

// untilAck waits for the PUBACK of a message.
func (c *client) untilAck(id uint16) {
	c.t.Helper()
	if got := read[*packets.PubackPacket](c).MessageID; got != id {
		c.t.Fatalf("PUBACK of %d, want %d", got, id)
	}
}

// read waits for a packet and wants it to be of one kind.
func read[P packets.ControlPacket](c *client) P {
	c.t.Helper()
	_ = c.conn.SetReadDeadline(time.Now().Add(patienceOfTest))
	pk, err := packets.ReadPacket(c.conn)
	if err != nil {
		c.t.Fatalf("read: %v", err)
	}
	p, ok := pk.(P)
	if !ok {
		c.t.Fatalf("got %v", pk)
	}
	return p
}

// silent fails if anything is answered, or the connection closed, within a
// time in which this machine answers thousands of messages.
func (c *client) silent(when string) {
	c.t.Helper()
	_ = c.conn.SetReadDeadline(time.Now().Add(100 * time.Millisecond))
	pk, err := packets.ReadPacket(c.conn)
	if !errors.Is(err, os.ErrDeadlineExceeded) {
		c.t.Fatalf("%s: got %v, %v; want silence", when, pk, err)
	}
}

// untilCut waits for the end of the connection with no packet before it.
func (c *client) untilCut() {
	c.t.Helper()
	_ = c.conn.SetReadDeadline(time.Now().Add(patienceOfTest))
	pk, err := packets.ReadPacket(c.conn)
	if _, bye := pk.(*packets.DisconnectPacket); bye && err == nil {
		// The library says goodbye now and then before it closes.
		pk, err = packets.ReadPacket(c.conn)
	}
	if err == nil {
		c.t.Fatalf("got %v, want the end of the connection", pk)
	}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		c.t.Fatal("the connection was not ended")
	}
}
