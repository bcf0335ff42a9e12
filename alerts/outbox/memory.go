package outbox

import (
	"context"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// forGood is later than any clock: a phone that refused a call for good.
var forGood = time.Unix(1<<40, 0)

// memory is what the outbox knows of calls beyond what the store keeps. It is
// lost with the process, and nothing depends on it but good manners: after a
// restart a phone may be asked once more. It belongs to the goroutine that
// delivers.
//
// An attempt that could not be written down is held here until it can be, and
// meanwhile counts: a full disk must not ring a phone every few seconds all
// night, nor keep the next call from going out. Should the process die first,
// a call that a phone took goes out again under the same id.
type memory struct {
	rest      map[string]map[string]time.Time // by call and phone: not before
	unwritten map[string][]unwritten          // by call, in order
	waiting   map[string]alerts.Call          // taken up and not ended
}

type unwritten struct {
	call    alerts.Call
	attempt alerts.Attempt
}

func newMemory() memory {
	return memory{rest: map[string]map[string]time.Time{}, unwritten: map[string][]unwritten{}, waiting: map[string]alerts.Call{}}
}

// keep notes that phone is not to be asked about the call before that time.
func (m memory) keep(call, phone string, until time.Time) {
	if m.rest[call] == nil {
		m.rest[call] = map[string]time.Time{}
	}
	m.rest[call][phone] = until
}

// ready returns the phones that may be asked about the call now. Where all
// that may be asked are resting it returns them all the same: the store says
// that the call is due, and a clock set back must not make it wait for ever.
func (m memory) ready(call string, phones []Phone, now time.Time) []Phone {
	var rested, open []Phone
	for _, p := range phones {
		until := m.rest[call][p.Name]
		if until.Equal(forGood) {
			continue
		}
		open = append(open, p)
		if !now.Before(until) {
			rested = append(rested, p)
		}
	}
	if len(rested) > 0 {
		return rested
	}
	return open
}

// next returns when the first phone may be asked about the call again; false
// if all have refused it for good.
func (m memory) next(call string, phones []Phone) (first time.Time, some bool) {
	for _, p := range phones {
		until := m.rest[call][p.Name]
		if !until.Equal(forGood) && (!some || until.Before(first)) {
			first, some = until, true
		}
	}
	return first, some
}

// holds reports whether the call is not to be touched now: what became of it
// is not written down yet, and by that it has ended or is not due.
func (m memory) holds(call string, now time.Time) bool {
	late := m.unwritten[call]
	if len(late) == 0 {
		return false
	}
	last := late[len(late)-1].attempt
	return last.Outcome != alerts.Queued || now.Before(last.Next)
}

// forget drops what is known of a call that has ended.
func (m memory) forget(call string) {
	delete(m.rest, call)
	delete(m.unwritten, call)
	delete(m.waiting, call)
}

// write writes an attempt down, or holds it until that works. What has been
// done is written down even while the outbox stops.
func (b *Outbox) write(c alerts.Call, a alerts.Attempt) {
	b.seen.unwritten[c.ID] = append(b.seen.unwritten[c.ID], unwritten{call: c, attempt: a})
	b.flush(c.ID)
}

// flush writes down what is held of a call, in order; false while it does not work.
func (b *Outbox) flush(id string) bool {
	ctx, cancel := context.WithTimeout(context.Background(), writing)
	defer cancel()
	held := b.seen.unwritten[id]
	for len(held) > 0 {
		a := held[0].attempt
		if err := b.o.Store.Attempted(ctx, id, a); err != nil {
			b.seen.unwritten[id] = held
			b.trouble("write down an attempt", err)
			return false
		}
		held = held[1:]
		b.seen.unwritten[id] = held
		if a.Outcome != alerts.Queued {
			b.seen.forget(id)
			return true
		}
	}
	delete(b.seen.unwritten, id)
	return true
}

// flushAll tries again to write down what is held.
func (b *Outbox) flushAll(ctx context.Context) {
	for id := range b.seen.unwritten {
		if ctx.Err() != nil {
			return
		}
		b.flush(id)
	}
}

// prune drops what is known of calls that are a day past their expiry: the
// store has lost them, or somebody else has ended them.
func (b *Outbox) prune(now time.Time) {
	for id, c := range b.seen.waiting {
		if c.Expires.IsZero() || now.Before(c.Expires.Add(24*time.Hour)) {
			continue
		}
		if len(b.seen.unwritten[id]) > 0 {
			b.o.Logger.Error("outbox: what became of a call was never written down", "call", id)
		}
		b.seen.forget(id)
	}
}

// tell brings the state up to what is known.
func (b *Outbox) tell() {
	var oldest time.Time
	for _, c := range b.seen.waiting {
		if oldest.IsZero() || c.Queued.Before(oldest) {
			oldest = c.Queued
		}
	}
	b.note(func(s *State) {
		s.Queued, s.Oldest, s.Unwritten = len(b.seen.waiting), oldest, len(b.seen.unwritten)
	})
}
