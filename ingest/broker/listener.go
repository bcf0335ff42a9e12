package broker

import (
	"errors"
	"log/slog"
	"net"
	"sync"
	"time"

	"github.com/mochi-mqtt/server/v2/listeners"
)

// connectWithin is how long a connection may take to introduce itself. The
// library sets its own deadlines only after that, so that a silent connection
// would stay for ever.
const connectWithin = 10 * time.Second

// listener accepts connections for the library and, other than the library's
// own, knows every one of them: it can close them all and wait for them, and a
// packet that makes the library panic ends one connection and not the program.
type listener struct {
	net.Listener
	log     *slog.Logger
	serving sync.WaitGroup // Serve and the goroutines of the connections

	mu    sync.Mutex
	conns map[net.Conn]struct{} // guarded by mu; nil after close
}

var _ listeners.Listener = (*listener)(nil)

func newListener(l net.Listener, log *slog.Logger) *listener {
	own := &listener{Listener: l, log: log, conns: map[net.Conn]struct{}{}}
	own.serving.Add(1) // Serve itself
	return own
}

// Init, ID, Address and Protocol are asked for by the library.
func (l *listener) Init(*slog.Logger) error { return nil }

// ID names the listener in the library's logs.
func (l *listener) ID() string { return "tcp" }

// Address is where it listens.
func (l *listener) Address() string { return l.Addr().String() }

// Protocol is what it speaks below MQTT.
func (l *listener) Protocol() string { return "tcp" }

// Serve accepts connections until the listener is closed. It must be called
// once before Close, which waits for it.
func (l *listener) Serve(establish listeners.EstablishFn) {
	defer l.serving.Done()
	for {
		conn, err := l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			// Out of file handles, or a client that left at once.
			l.log.Warn("a connection could not be accepted", "error", err)
			time.Sleep(acceptAgain)
			continue
		}
		if !l.add(conn) {
			_ = conn.Close()
			return
		}
		go l.serve(conn, establish)
	}
}

// acceptAgain keeps a failing Accept from spinning.
const acceptAgain = 50 * time.Millisecond

func (l *listener) serve(conn net.Conn, establish listeners.EstablishFn) {
	defer l.remove(conn)
	defer func() {
		if fault := recover(); fault != nil {
			l.log.Error("a packet broke its connection", "remote", conn.RemoteAddr(), "fault", fault)
		}
	}()
	_ = conn.SetDeadline(time.Now().Add(connectWithin))
	if err := establish(l.ID(), conn); err != nil {
		l.log.Debug("connection ended", "remote", conn.RemoteAddr(), "error", err)
	}
}

func (l *listener) add(conn net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.conns == nil {
		return false
	}
	l.conns[conn] = struct{}{}
	l.serving.Add(1)
	return true
}

func (l *listener) remove(conn net.Conn) {
	_ = conn.Close()
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.conns, conn)
	l.serving.Done()
}

// refuseNew closes the door; connections go on.
func (l *listener) refuseNew() { _ = l.Listener.Close() }

// Close is called by the library: it closes the door, says goodbye to the
// clients and cuts every connection, also those that never introduced
// themselves.
func (l *listener) Close(goodbye listeners.CloseFn) {
	l.mu.Lock()
	conns := l.conns
	l.conns = nil
	l.mu.Unlock()
	_ = l.Listener.Close() // often closed already
	goodbye(l.ID())
	for conn := range conns {
		_ = conn.Close()
	}
	l.serving.Wait()
}
