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
	folded, err := foldAll(ctx, d.config, d.store.Entries)
	if err != nil {
		return err
	}
	d.book = &book{d: d, folded: folded}
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
	e, doubts, err := b.ask(e, now)
	if err != nil {
		return e, nil, err
	}
	if len(doubts) > 0 && overruledBy == "" {
		return e, doubts, nil
	}
	e = logbook.Overrule(e, doubts, overruledBy)
	// Whoever asked may go away: whether it is kept must be known before the
	// next is asked about.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), commitWithin+5*time.Second)
	defer cancel()
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

func (b *book) ask(e ingest.Entry, now time.Time) (ingest.Entry, []logbook.Doubt, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return ask(b.d.config, b.folded, b.outside(), e, now)
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
		out.Sick = append(out.Sick, page.Suspected(w.Alarms)...)
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
