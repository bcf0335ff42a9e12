package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/alerts/webhook"
)

// narrator tells what happens, one paragraph at a time.
type narrator struct {
	mu   sync.Mutex // guards out
	out  io.Writer
	zone *time.Location
}

// say writes one line with the shelf's time before it.
func (n *narrator) say(at time.Time, format string, args ...any) {
	n.mu.Lock()
	defer n.mu.Unlock()
	zone := n.zone
	if zone == nil {
		zone = time.UTC
	}
	_, _ = fmt.Fprintf(n.out, "%s  %s\n", at.In(zone).Format("Mon 15:04"), fmt.Sprintf(format, args...))
}

func (n *narrator) line(format string, args ...any) {
	n.mu.Lock()
	defer n.mu.Unlock()
	_, _ = fmt.Fprintf(n.out, format+"\n", args...)
}

// phone is a receiver of calls on this machine: it checks the signature as a
// push service would and shows the words.
type phone struct {
	secret webhook.Secret
	server *http.Server
	addr   string
	show   *narrator
	done   sync.WaitGroup
}

func startPhone(show *narrator) (*phone, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("demo phone: %w", err)
	}
	p := &phone{show: show, addr: l.Addr().String()}
	p.server = &http.Server{Handler: http.HandlerFunc(p.ring), ReadHeaderTimeout: 5 * time.Second}
	p.done.Go(func() { _ = p.server.Serve(l) })
	return p, nil
}

// URL is where calls go.
func (p *phone) URL() string { return "http://" + p.addr + "/calls" }

// Stop takes the phone off.
func (p *phone) Stop() {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = p.server.Shutdown(ctx)
	p.done.Wait()
}

func (p *phone) ring(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(io.LimitReader(r.Body, 64<<10))
	id, fault := p.secret.Verify(r.Header, body, time.Now())
	if err != nil || fault != nil {
		p.show.line("      a call that is not signed by this shelf was turned away")
		w.WriteHeader(http.StatusUnauthorized)
		return
	}
	var call struct {
		Timestamp time.Time `json:"timestamp"`
		Data      struct {
			Text string `json:"text"`
		} `json:"data"`
	}
	if err := json.Unmarshal(body, &call); err != nil {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	p.show.line("\n   *** the phone rings ***\n   %s\n   (signed, id %s)\n", wrap(call.Data.Text, 92, "   "), id)
	w.WriteHeader(http.StatusNoContent)
}
