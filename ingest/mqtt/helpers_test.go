package mqtt

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/nightshelf/nightshelf/ingest"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// patienceOfTest bounds every wait; the machine may be busy.
const patienceOfTest = 60 * time.Second

// memory is a sink that keeps by payload, as an idempotent store does, and can
// be told to block or to fail.
type memory struct {
	mu      sync.Mutex
	changed chan struct{}  // closed and replaced after every Put
	kept    map[string]int // payload: how often it was put
	order   []string       // of first arrival
	all     []ingest.Message
	puts    int
	failing error
	gate    chan struct{} // Put waits for its closing; nil does not wait
	entered chan struct{} // gets a token when a Put waits at the gate
}

func newMemory() *memory {
	return &memory{changed: make(chan struct{}), kept: map[string]int{}, entered: make(chan struct{}, 1)}
}

func (m *memory) Put(ctx context.Context, messages []ingest.Message) error {
	m.mu.Lock()
	gate := m.gate
	m.mu.Unlock()
	if gate != nil {
		select {
		case m.entered <- struct{}{}:
		default:
		}
		select {
		case <-gate:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.puts++
	close(m.changed)
	m.changed = make(chan struct{})
	if m.failing != nil {
		return m.failing
	}
	for _, x := range messages {
		p := string(x.Payload)
		if m.kept[p] == 0 {
			m.order = append(m.order, p)
		}
		m.kept[p]++
		m.all = append(m.all, x)
	}
	return nil
}

// close makes Put wait until the returned function is called.
func (m *memory) close() (open func()) {
	m.mu.Lock()
	defer m.mu.Unlock()
	gate := make(chan struct{})
	m.gate = gate
	return func() {
		m.mu.Lock()
		defer m.mu.Unlock()
		m.gate = nil
		close(gate)
	}
}

func (m *memory) fail(err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.failing = err
}

// until waits until ok holds, looking after every Put.
func (m *memory) until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	deadline := time.After(patienceOfTest)
	for {
		m.mu.Lock()
		done, changed := ok(), m.changed
		state := fmt.Sprintf("%d different payloads in %d puts", len(m.kept), m.puts)
		m.mu.Unlock()
		if done {
			return
		}
		select {
		case <-changed:
		case <-deadline:
			t.Fatalf("%s: not in time; %s", what, state)
		}
	}
}

func (m *memory) untilKept(t testing.TB, n int) {
	t.Helper()
	m.until(t, fmt.Sprintf("keep %d payloads", n), func() bool { return len(m.kept) >= n })
}

func (m *memory) arrivals() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.order)
}

// eventually looks until ok holds. The subscriber tells its state only when
// asked, so this is the one place that asks again and again.
func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	tick := time.NewTicker(2 * time.Millisecond)
	defer tick.Stop()
	deadline := time.After(patienceOfTest)
	for !ok() {
		select {
		case <-tick.C:
		case <-deadline:
			t.Fatalf("%s: not in time", what)
		}
	}
}

// start makes a subscriber that is stopped with the test.
func start(t testing.TB, url string, sink ingest.Sink, change func(*Options)) *Subscriber {
	t.Helper()
	o := Options{URL: url, ClientID: "room-1", Topics: []string{"shelf/#"}, Sink: sink, FirstWait: -1}
	if change != nil {
		change(&o)
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Start(context.Background()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patienceOfTest)
		defer cancel()
		_ = s.Stop(ctx) // tests that care have stopped it themselves
	})
	return s
}

func stop(t testing.TB, s *Subscriber) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patienceOfTest)
	defer cancel()
	if err := s.Stop(ctx); err != nil {
		t.Errorf("stop: %v", err)
	}
}

func untilSubscribed(t testing.TB, s *Subscriber) {
	t.Helper()
	eventually(t, "subscribe", func() bool { return s.State().Subscribed })
}

// abandon stops a subscriber whose sink does not return.
func abandon(t testing.TB, s *Subscriber) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := s.Stop(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("stop with messages at hand: %v; want an error that tells of them", err)
	}
}

var publishers atomic.Int64 // so that each has its own id

// publisher is a plain client that publishes at QoS 1 and resends.
func publisher(t testing.TB, url string) paho.Client {
	t.Helper()
	o := paho.NewClientOptions().AddBroker(url).SetClientID(fmt.Sprintf("sensor-%d", publishers.Add(1))).SetCleanSession(false).SetProtocolVersion(4).
		SetConnectRetry(true).SetConnectRetryInterval(20 * time.Millisecond).SetMaxReconnectInterval(50 * time.Millisecond)
	c := paho.NewClient(o)
	wait(t, "publisher connects", c.Connect())
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

func wait(t testing.TB, what string, token paho.Token) {
	t.Helper()
	if !token.WaitTimeout(patienceOfTest) {
		t.Fatalf("%s: not in time", what)
	}
	if err := token.Error(); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

// publish sends the payloads named first to last and waits for every PUBACK.
func publish(t testing.TB, c paho.Client, first, last int) {
	t.Helper()
	var tokens []paho.Token
	for i := first; i <= last; i++ {
		tokens = append(tokens, c.Publish("shelf/C07", 1, false, payload(i)))
	}
	for _, token := range tokens {
		wait(t, "publish", token)
	}
}

func payload(i int) string { return fmt.Sprintf("reading,vessel=C07 od=0.4 %d", i) }

func payloads(first, last int) []string {
	var out []string
	for i := first; i <= last; i++ {
		out = append(out, payload(i))
	}
	return out
}

// inProcess runs a broker without certificates or passwords and returns its URL.
func inProcess(t testing.TB) string { return inProcessWith(t, new(auth.AllowHook)) }

func inProcessWith(t testing.TB, hook broker.Hook) string {
	t.Helper()
	server := broker.New(&broker.Options{Logger: slog.New(slog.DiscardHandler)})
	if err := server.AddHook(hook, nil); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if err := server.AddListener(&ownListener{Listener: l}); err != nil {
		t.Fatal(err)
	}
	if err := server.Serve(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = server.Close() })
	return "mqtt://" + l.Addr().String()
}

// proxy forwards connections to a broker and cuts them when told to.
type proxy struct {
	listener net.Listener
	target   string
	wg       sync.WaitGroup
	mu       sync.Mutex
	conns    []conn // guarded by mu
	refuse   bool   // guarded by mu
	open     int    // connections, both ends; guarded by mu
}

func newProxy(t testing.TB, url string) *proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	return newProxyOn(t, l, url)
}

// conn is a connection that can be closed for one direction.
type conn interface {
	net.Conn
	CloseWrite() error
}

func newProxyOn(t testing.TB, l net.Listener, url string) *proxy {
	t.Helper()
	p := &proxy{listener: l, target: strings.TrimPrefix(url, "mqtt://")}
	p.wg.Go(p.accept)
	t.Cleanup(func() { _ = l.Close(); p.cut(); p.wg.Wait() })
	return p
}

func (p *proxy) url() string { return "mqtt://" + p.listener.Addr().String() }

func (p *proxy) accept() {
	for {
		in, err := p.listener.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", p.target)
		if err != nil {
			_ = in.Close()
			continue
		}
		p.forward(in.(conn), out.(conn))
	}
}

func (p *proxy) forward(in, out conn) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.refuse {
		_, _ = in.Close(), out.Close()
		return
	}
	p.conns = append(p.conns, in, out)
	p.open++
	p.wg.Go(func() {
		var up sync.WaitGroup
		up.Go(func() { _, _ = io.Copy(out, in); _ = out.CloseWrite() })
		_, _ = io.Copy(in, out)
		_, _ = in.Close(), out.Close()
		up.Wait()
		p.mu.Lock()
		defer p.mu.Unlock()
		p.open--
	})
}

// untilQuiet waits until the broker has read everything and hung up, on every
// connection: then it has seen the acknowledgements too.
func (p *proxy) untilQuiet(t testing.TB) {
	t.Helper()
	eventually(t, "end all connections", func() bool {
		p.mu.Lock()
		defer p.mu.Unlock()
		return p.open == 0
	})
}

// cut ends every connection at once, without goodbye.
func (p *proxy) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.conns {
		if tcp, ok := c.(*net.TCPConn); ok {
			_ = tcp.SetLinger(0)
		}
		_ = c.Close()
	}
	p.conns = nil
}

func (p *proxy) setRefuse(refuse bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refuse = refuse
}

func requireAll() bool { return os.Getenv("NIGHTSHELF_REQUIRE_ALL") == "1" }
