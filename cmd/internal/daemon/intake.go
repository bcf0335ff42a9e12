package daemon

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/logbook"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// decoder makes a batch of one message.
type decoder func(m ingest.Message) ingest.Batch

// keeper is the part of the store that the intake needs.
type keeper interface {
	AppendAll(ctx context.Context, batches []ingest.Batch) ([]ingest.Kept, error)
}

// mostUnknown is how many vessels that the configuration does not know are
// kept readings of: a forgotten line loses nothing, a babbling device cannot
// fill the disk with names.
const mostUnknown = 256

// intake is where messages become batches on disk. Puts that come at the same
// time share one commit, since a commit is what costs.
type intake struct {
	store  keeper
	decode decoder
	news   func()               // called after every commit
	noted  func([]ingest.Entry) // called after every commit with entries
	count  *counters

	mu     sync.Mutex      // guards known, unknown
	known  map[string]bool // names configured
	others map[string]bool // names seen that are not

	requests chan request
	done     chan struct{}
}

type request struct {
	ctx   context.Context
	batch ingest.Batch
	reply chan error
}

// mostGrouped bounds one commit, in Puts.
const mostGrouped = 256

func newIntake(store keeper, decode decoder, count *counters) *intake {
	return &intake{store: store, decode: decode, count: count, news: func() {}, noted: func([]ingest.Entry) {},
		known: map[string]bool{}, others: map[string]bool{},
		requests: make(chan request), done: make(chan struct{})}
}

var _ ingest.Sink = (*intake)(nil)

// Put implements ingest.Sink.
func (in *intake) Put(ctx context.Context, messages []ingest.Message) error {
	var b ingest.Batch
	for _, m := range messages {
		one := fewer(in.screen(in.decode(m)))
		b.Readings = append(b.Readings, one.Readings...)
		b.Entries = append(b.Entries, one.Entries...)
		b.Refused = append(b.Refused, one.Refused...)
		if m.Arrived.After(b.Arrived) {
			b.Arrived = m.Arrived
		}
	}
	in.count.message(len(messages))
	if len(b.Readings)+len(b.Entries)+len(b.Refused) == 0 {
		return nil
	}
	return in.keep(ctx, b)
}

// keep commits a batch, together with others that come at the same time.
func (in *intake) keep(ctx context.Context, b ingest.Batch) error {
	r := request{ctx: ctx, batch: b, reply: make(chan error, 1)}
	select {
	case in.requests <- r:
	case <-ctx.Done():
		return ctx.Err()
	case <-in.done:
		return ingest.ErrClosed
	}
	select {
	case err := <-r.reply:
		return err
	case <-ctx.Done():
		// The commit may still happen: keeping is idempotent, so bringing the
		// messages again does no harm.
		return ctx.Err()
	case <-in.done:
		return ingest.ErrClosed
	}
}

// mostRefused is how many pieces of one message are set aside one by one.
const mostRefused = 100

// fewer brings the refusals of one message to mostRefused and one that counts
// the rest: a megabyte of rubbish is told, not kept line by line.
func fewer(b ingest.Batch) ingest.Batch {
	n := len(b.Refused) - mostRefused
	if n <= 1 {
		return b
	}
	last := b.Refused[mostRefused]
	last.Detail = fmt.Sprintf("and %d more pieces of this message, the first of them: %s", n, last.Detail)
	b.Refused = append(b.Refused[:mostRefused:mostRefused], last)
	return b
}

// screen sets aside what no sensor measures, and what comes from too many
// unknown vessels.
func (in *intake) screen(b ingest.Batch) ingest.Batch {
	in.mu.Lock()
	defer in.mu.Unlock()
	refused := func(vessel string) bool {
		if in.admit(vessel) {
			return false
		}
		b.Refused = append(b.Refused, tooMany(vessel, b.Arrived))
		return true
	}
	b.Readings = slices.DeleteFunc(b.Readings, func(r ingest.Reading) bool {
		if math.Abs(r.Value) > unit.Largest {
			b.Refused = append(b.Refused, absurd(r, b.Arrived))
			return true
		}
		return refused(r.Vessel)
	})
	b.Entries = slices.DeleteFunc(b.Entries, func(e ingest.Entry) bool {
		// A device is nobody who can answer for what speaks against an entry.
		delete(e.Fields, logbook.OverruledBy)
		delete(e.Fields, "overruled")
		if err := logbook.Check(e); err != nil {
			b.Refused = append(b.Refused, noEntry(e, err, b.Arrived))
			return true
		}
		return refused(e.Vessel)
	})
	return b
}

func (in *intake) admit(name string) bool {
	if in.known[name] || in.others[name] {
		return true
	}
	if len(in.others) >= mostUnknown {
		return false
	}
	in.others[name] = true
	return true
}

func absurd(r ingest.Reading, arrived time.Time) ingest.Refused {
	said := fmt.Sprintf("vessel=%s %s=%g", r.Vessel, r.Quantity.Field(), r.Value)
	return ingest.Refused{Reason: ingest.BadValue, Arrived: arrived, Input: []byte(said), Size: len(said),
		Detail: fmt.Sprintf("vessel %q, %s: %g is no measurement: at most %g is taken", r.Vessel, r.Quantity, r.Value, unit.Largest)}
}

// noEntry sets aside what cannot be an entry, as the line that would say it.
func noEntry(e ingest.Entry, err error, arrived time.Time) ingest.Refused {
	line, encode := lineproto.AppendEntry(nil, e)
	if encode != nil {
		line = []byte(e.Vessel + " " + string(e.Kind))
	}
	size := len(line)
	return ingest.Refused{Reason: ingest.BadEntry, Arrived: arrived, Input: line[:min(size, ingest.MaxRefusedInput)], Size: size,
		Detail: fmt.Sprintf("vessel %q, %s: %s", e.Vessel, e.Kind, strings.ReplaceAll(err.Error(), "\n", "; "))}
}

func tooMany(name string, arrived time.Time) ingest.Refused {
	return ingest.Refused{Reason: ingest.TooMany, Arrived: arrived, Input: []byte(name), Size: len(name),
		Detail: fmt.Sprintf("vessel %q is not configured, and readings of %d unknown vessels are kept already", name, mostUnknown)}
}

// run commits until ctx is done; then what was asked for is still answered.
func (in *intake) run(ctx context.Context) {
	defer close(in.done)
	for {
		select {
		case <-ctx.Done():
			return
		case first := <-in.requests:
			in.commit(in.gather(first))
		}
	}
}

// gather takes what else is waiting, without waiting for it.
func (in *intake) gather(first request) []request {
	group := []request{first}
	for len(group) < mostGrouped {
		select {
		case r := <-in.requests:
			group = append(group, r)
		default:
			return group
		}
	}
	return group
}

// commitWithin bounds one commit; a database that is locked for longer makes
// the messages come again.
const commitWithin = 20 * time.Second

func (in *intake) commit(group []request) {
	batches := make([]ingest.Batch, len(group))
	for i, r := range group {
		batches[i] = r.batch
	}
	// Not the context of one of them: one publisher that goes away must not
	// undo what others wait for.
	ctx, cancel := context.WithTimeout(context.Background(), commitWithin)
	defer cancel()
	kept, err := in.store.AppendAll(ctx, batches)
	if err == nil {
		in.count.kept(batches, kept)
		for _, b := range batches {
			if len(b.Entries) > 0 {
				in.noted(b.Entries)
			}
		}
	} else {
		in.count.failed()
	}
	for _, r := range group {
		r.reply <- err
	}
	if err == nil {
		in.news()
	}
}
