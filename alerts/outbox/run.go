package outbox

import (
	"context"
	"time"
)

func (b *Outbox) run(ctx context.Context, done chan struct{}) {
	defer close(done)
	for ctx.Err() == nil {
		timer := time.NewTimer(b.round(ctx))
		select {
		case <-ctx.Done():
		case <-b.wake:
		case <-timer.C:
		}
		timer.Stop()
	}
}

// round delivers what is due and returns how long to wait for more.
func (b *Outbox) round(ctx context.Context) time.Duration {
	defer b.tell()
	b.flushAll(ctx)
	b.prune(time.Now())
	// Calls that are held here are due in the store still; they must not fill
	// the helping.
	calls, err := b.o.Store.Due(ctx, time.Now(), helping+len(b.seen.unwritten))
	if err != nil {
		if ctx.Err() == nil {
			b.trouble("read the calls that are due", err)
		}
		return rest
	}
	for _, c := range calls {
		if ctx.Err() != nil {
			return 0
		}
		if b.seen.holds(c.ID, time.Now()) {
			continue
		}
		b.deliver(ctx, c)
	}
	if len(b.seen.unwritten) > 0 {
		return rest
	}
	if len(calls) >= helping {
		return 0
	}
	return b.untilNext(ctx)
}

// untilNext is how long nothing will be due, unless somebody wakes us.
func (b *Outbox) untilNext(ctx context.Context) time.Duration {
	next, queued, err := b.o.Store.NextDue(ctx)
	if err != nil {
		if ctx.Err() == nil {
			b.trouble("read when a call is due", err)
		}
		return rest
	}
	if !queued {
		return idle
	}
	return min(max(time.Until(next), 0), idle)
}

func (b *Outbox) trouble(step string, err error) {
	b.o.Logger.Error("outbox: "+step, "error", err)
	b.note(func(s *State) { s.LastError = step + ": " + err.Error() })
}
