package outbox

import (
	"context"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// deliver brings one call to the phones in order until one has taken it. Every
// attempt is written down before the next; where that fails the call goes on
// all the same, see [memory].
func (b *Outbox) deliver(ctx context.Context, c alerts.Call) {
	now := time.Now()
	b.seen.waiting[c.ID] = c
	c.Attempts += len(b.seen.unwritten[c.ID]) // the store does not know of them yet
	if expired(c, now) {
		b.expire(c, now)
		return
	}
	phones := b.seen.ready(c.ID, b.o.Phones, now)
	if len(b.o.Phones) == 0 {
		b.fail(c, alerts.Attempt{At: now, Detail: "no phone is configured"})
		return
	}
	if len(phones) == 0 {
		b.fail(c, alerts.Attempt{At: now, Detail: "every phone has refused it for good"})
		return
	}
	rounds := c.Attempts / len(b.o.Phones) // Attempts counts phones; the wait grows by rounds
	for i, p := range phones {
		r := b.attempt(ctx, p, c)
		if ctx.Err() != nil && r.Verdict != alerts.Arrived {
			return // cut short by our own stop: it stays queued as it was
		}
		b.o.Attempted(r)
		a := alerts.Attempt{At: time.Now(), Phone: p.Name, Detail: r.Detail, Outcome: alerts.Queued}
		if r.Verdict == alerts.Arrived {
			a.Outcome = alerts.Delivered
			b.note(func(s *State) { s.Delivered++; s.Retrying, s.LastError = 0, "" })
			b.o.Logger.Info("a call was delivered", "call", c.ID, "phone", p.Name)
			b.write(c, a)
			return
		}
		c.Attempts++
		b.o.Logger.Warn("a call was not taken", "call", c.ID, "phone", p.Name, "reason", r.Reason, "detail", r.Detail)
		b.note(func(s *State) { s.Retrying++; s.LastError = p.Name + ": " + r.Detail })
		b.seen.keep(c.ID, p.Name, b.restUntil(r, rounds, a.At))
		if i < len(phones)-1 && !expired(c, a.At) {
			a.Next = a.At // the next phone follows at once
			b.write(c, a)
			continue
		}
		b.postpone(c, a)
		return
	}
}

// attempt tries one phone. The bound holds for a Send that keeps none itself.
func (b *Outbox) attempt(ctx context.Context, p Phone, c alerts.Call) alerts.Result {
	ctx, cancel := context.WithTimeout(ctx, longest)
	defer cancel()
	return p.Send(ctx, c)
}

// postpone ends a round in which nobody took the call: it is due again when
// the first phone that may still take it is ready, or when it expires.
func (b *Outbox) postpone(c alerts.Call, a alerts.Attempt) {
	next, some := b.seen.next(c.ID, b.o.Phones)
	if !some {
		a.Detail = "every phone has refused it for good; last: " + a.Detail
		b.fail(c, a)
		return
	}
	if next.Before(a.At) {
		next = a.At
	}
	if !c.Expires.IsZero() && next.After(c.Expires) {
		next = c.Expires
	}
	a.Next = next
	b.write(c, a)
}

// restUntil is how long a phone is left alone after r: for good after Never.
func (b *Outbox) restUntil(r alerts.Result, rounds int, now time.Time) time.Time {
	if r.Verdict == alerts.Never {
		return forGood
	}
	return now.Add(max(r.After, b.backoff(rounds)))
}

// fail gives a call up.
func (b *Outbox) fail(c alerts.Call, a alerts.Attempt) {
	a.Outcome = alerts.Failed
	b.o.Logger.Error("a call cannot be delivered", "call", c.ID, "text", c.Text, "detail", a.Detail)
	b.note(func(s *State) { s.Failed++; s.LastError = "a call cannot be delivered: " + a.Detail })
	b.write(c, a)
}

// expire gives up a call that came too late to be worth telling.
func (b *Outbox) expire(c alerts.Call, now time.Time) {
	detail := "expired after no attempt"
	if c.Last != "" {
		detail = "expired; last: " + c.Last
	}
	b.o.Logger.Error("a call has expired undelivered", "call", c.ID, "text", c.Text, "attempts", c.Attempts, "last", c.Last)
	b.note(func(s *State) { s.Failed++; s.LastError = "a call expired: " + detail })
	b.write(c, alerts.Attempt{At: now, Outcome: alerts.Expired, Detail: detail})
}

// expired reports whether c is no longer worth telling; without an expiry it
// always is.
func expired(c alerts.Call, now time.Time) bool { return !c.Expires.IsZero() && !now.Before(c.Expires) }

// backoff draws the wait after a round in vain, of which there were n before.
func (b *Outbox) backoff(n int) time.Duration {
	ceiling := most
	if n < 10 { // beyond it the shift has long passed most
		ceiling = min(most, base<<n)
	}
	return max(least, time.Duration(b.o.Jitter()*float64(ceiling)))
}
