package mqtt

import (
	"log/slog"
	"net"
	"sync"

	"github.com/mochi-mqtt/server/v2/listeners"
)

// ownListener is a listener of the in-process broker that waits for what it
// has begun: the library's own counts a connection after it was let in, so
// that ending the broker meanwhile is a race.
type ownListener struct {
	net.Listener
	mu    sync.Mutex // guards the rest
	ended bool
	conns map[net.Conn]bool
	group sync.WaitGroup
}

var _ listeners.Listener = (*ownListener)(nil)

func (l *ownListener) Init(*slog.Logger) error { return nil }
func (l *ownListener) ID() string              { return "test" }
func (l *ownListener) Address() string         { return l.Addr().String() }
func (l *ownListener) Protocol() string        { return "tcp" }

func (l *ownListener) Serve(establish listeners.EstablishFn) {
	for {
		c, err := l.Accept()
		if err != nil {
			return
		}
		if !l.take(c) {
			_ = c.Close()
			continue
		}
		go func() {
			defer l.group.Done()
			_ = establish(l.ID(), c)
			l.mu.Lock()
			defer l.mu.Unlock()
			delete(l.conns, c)
		}()
	}
}

func (l *ownListener) take(c net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.ended {
		return false
	}
	if l.conns == nil {
		l.conns = map[net.Conn]bool{}
	}
	l.conns[c] = true
	l.group.Add(1)
	return true
}

// Close ends every connection and waits for the library to be done with it.
func (l *ownListener) Close(clients listeners.CloseFn) {
	_ = l.Listener.Close()
	clients(l.ID())
	l.mu.Lock()
	l.ended = true
	for c := range l.conns {
		_ = c.Close()
	}
	l.mu.Unlock()
	l.group.Wait()
}
