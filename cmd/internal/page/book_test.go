package page

import (
	"context"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// paper is a logbook in memory.
type paper struct {
	mu   sync.Mutex
	book *logbook.Book
	now  time.Time
	err  error // of writing
}

func newPaper(now time.Time, vessels ...ingest.Vessel) *paper {
	return &paper{book: logbook.New(vessels), now: now}
}

func (p *paper) Read(f func(*logbook.Book)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	f(p.book)
}

func (p *paper) Write(_ context.Context, e ingest.Entry, overruledBy string) (ingest.Entry, []logbook.Doubt, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.err != nil {
		return e, nil, p.err
	}
	p.now = p.now.Add(time.Second)
	e.Written = ingest.Stamp(p.now)
	if e.At.IsZero() && e.Kind != ingest.Correct && e.Kind != ingest.Withdraw {
		e.At = e.Written
	}
	e, err := p.book.Settle(e)
	if err != nil {
		return e, nil, err
	}
	doubts := p.book.Doubts(e, logbook.Outside{})
	if len(doubts) > 0 && overruledBy == "" {
		return e, doubts, nil
	}
	e = logbook.Overrule(e, doubts, overruledBy)
	p.book.Add(e)
	return e, nil, nil
}
