package daemon

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// book is the room's logbook in memory, as it stands on disk.
type book struct {
	d *Daemon

	writing sync.Mutex // held from asking to writing, so that two do not start one vessel
	mu      sync.Mutex // guards folded
	folded  *logbook.Book
}

var _ page.Logbook = (*book)(nil)

func (d *Daemon) buildBook(ctx context.Context) error {
	d.book = &book{d: d, folded: logbook.New(Vessels(d.config))}
	entries, err := d.store.Entries(ctx, "", time.Time{}, time.Time{})
	if err != nil {
		return fmt.Errorf("read the logbook: %w", err)
	}
	d.book.folded.Add(entries...)
	d.intake.noted = d.book.add
	return nil
}

func (b *book) add(entries []ingest.Entry) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.folded.Add(entries...)
}

// Read implements page.Logbook.
func (b *book) Read(f func(*logbook.Book)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	f(b.folded)
}

// ahead is how far in the future an entry may have happened: clocks differ.
const ahead = 2 * time.Minute

// Write implements page.Logbook.
func (b *book) Write(ctx context.Context, e ingest.Entry, overruledBy string) (ingest.Entry, []logbook.Doubt, error) {
	b.writing.Lock()
	defer b.writing.Unlock()
	now := b.now()
	e.Written, e.WrittenOnArrival = ingest.Stamp(now), false
	if e.At.IsZero() && e.Kind != ingest.Correct && e.Kind != ingest.Withdraw {
		e.At = now
	}
	e, doubts, err := b.settle(e)
	if err != nil {
		return e, nil, err
	}
	if e.At = ingest.Stamp(e.At); e.At.After(now.Add(ahead)) {
		return e, nil, &logbook.Fault{Field: "at", Says: fmt.Sprintf("%s is still to come", e.At.Format(time.RFC3339))}
	}
	if !b.d.intake.known[e.Vessel] {
		return e, nil, &logbook.Fault{Field: "vessel", Says: fmt.Sprintf("no vessel %q stands on this shelf", e.Vessel)}
	}
	if len(doubts) > 0 && overruledBy == "" {
		return e, doubts, nil
	}
	e = logbook.Overrule(e, doubts, overruledBy)
	if err := b.d.intake.keep(ctx, ingest.Batch{Arrived: now, Entries: []ingest.Entry{e}}); err != nil {
		return e, nil, fmt.Errorf("write the entry: %w", err)
	}
	return e, nil, nil
}

// now is the room's time, so that what is written in a replay falls into it.
func (b *book) now() time.Time {
	if v := b.d.watch.view.Load(); b.d.watch.follow && v != nil && !v.now.IsZero() {
		return v.now
	}
	return b.d.now()
}

// settle checks an entry against the book, and asks the guards.
func (b *book) settle(e ingest.Entry) (_ ingest.Entry, doubts []logbook.Doubt, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if e, err = b.folded.Settle(e); err != nil {
		return e, nil, err
	}
	return e, b.folded.Doubts(e, b.outside()), nil
}

// outside is what the watch knows of lots and the logbook does not.
func (b *book) outside() logbook.Outside {
	out := logbook.Outside{Zone: b.d.config.Zone, DoseUnfit: doseUnfit(b.d.config)}
	v := b.d.watch.view.Load()
	if v == nil {
		return out
	}
	phase := map[string]analysis.Phase{}
	for _, w := range v.vessels {
		phase[w.Estimate.Lot] = w.Estimate.Phase
		for _, a := range w.Alarms {
			why := map[analysis.Class]string{analysis.Crash: logbook.Crashed, analysis.Contaminated: logbook.Contaminated}[a.Class]
			if lot := a.Finding.Lot; why != "" && lot != "" {
				out.Sick = append(out.Sick, logbook.Taint{Lot: lot, Why: why, At: a.Raised, Suspected: true})
			}
		}
	}
	out.PastBest = func(l logbook.Lot) string {
		switch phase[l.Name] {
		case analysis.Stationary:
			return "it grows no more"
		case analysis.Death:
			return "it is dying off"
		}
		return ""
	}
	return out
}
