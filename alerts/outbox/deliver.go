package outbox

import (
	"context"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// deliver brings one call to the phones in order until one has taken it. Every
// attempt is written down before the next; an error means that it was not.
func (b *Outbox) deliver(ctx context.Context, c alerts.Call) error {
	now := time.Now()
	if !now.Before(c.Expires) {
		b.o.Logger.Error("a call has expired undelivered", "call", c.ID, "text", c.Text, "attempts", c.Attempts, "last", c.Last)
		b.note(func(s *State) { s.Failed++; s.LastError = "a call expired: " + c.Last })
		return b.o.Store.Attempted(ctx, c.ID, alerts.Attempt{At: now, Outcome: alerts.Expired, Detail: "expired; last: " + c.Last})
	}
	if len(b.o.Phones) == 0 {
		return b.fail(ctx, c, alerts.Attempt{At: now, Detail: "no phone is configured"})
	}
	var wait time.Duration
	again := false // some phone may take it later
	for i, p := range b.o.Phones {
		r := p.Send(ctx, c)
		if ctx.Err() != nil {
			return nil // cut short by our own stop: it stays queued as it was
		}
		b.o.Attempted(r)
		a := alerts.Attempt{At: time.Now(), Phone: p.Name, Detail: r.Detail, Outcome: alerts.Queued}
		switch r.Verdict {
		case alerts.Arrived:
			a.Outcome = alerts.Delivered
			b.note(func(s *State) { s.Delivered++; s.Retrying, s.LastError = 0, "" })
			return b.o.Store.Attempted(ctx, c.ID, a)
		case alerts.Again:
			again = true
			wait = max(wait, r.After)
		}
		b.o.Logger.Warn("a call was not taken", "call", c.ID, "phone", p.Name, "reason", r.Reason, "detail", r.Detail)
		b.note(func(s *State) { s.Retrying++; s.LastError = p.Name + ": " + r.Detail })
		if i < len(b.o.Phones)-1 {
			a.Next = a.At // the next phone follows at once
			if err := b.o.Store.Attempted(ctx, c.ID, a); err != nil {
				return err
			}
			continue
		}
		if !again {
			return b.fail(ctx, c, a)
		}
		a.Next = a.At.Add(max(wait, b.backoff(c.Attempts)))
		return b.o.Store.Attempted(ctx, c.ID, a)
	}
	return nil
}

// fail gives a call up.
func (b *Outbox) fail(ctx context.Context, c alerts.Call, a alerts.Attempt) error {
	a.Outcome = alerts.Failed
	b.o.Logger.Error("a call cannot be delivered", "call", c.ID, "text", c.Text, "detail", a.Detail)
	b.note(func(s *State) { s.Failed++; s.LastError = "a call cannot be delivered: " + a.Detail })
	return b.o.Store.Attempted(ctx, c.ID, a)
}

// backoff draws the wait after n attempts that failed.
func (b *Outbox) backoff(n int) time.Duration {
	ceiling := most
	if n < 10 { // beyond it the shift has long passed most
		ceiling = min(most, base<<n)
	}
	return max(least, time.Duration(b.o.Jitter()*float64(ceiling)))
}
