package outbox

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// store is a ledger in memory that does with an attempt what the ledger on
// disk does, and fails when told to.
type store struct {
	mu       sync.Mutex
	calls    map[string]*alerts.Call
	attempts []kept
	noWrite  error // Attempted fails with it
	noRead   error // Due and NextDue fail with it
}

type kept struct {
	id string
	alerts.Attempt
}

func newStore(calls ...alerts.Call) *store {
	s := &store{calls: map[string]*alerts.Call{}}
	for _, c := range calls {
		s.add(c)
	}
	return s
}

func (s *store) add(c alerts.Call) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls[c.ID] = &c
}

func (s *store) fail(read, write error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.noRead, s.noWrite = read, write
}

func (s *store) get(id string) alerts.Call {
	s.mu.Lock()
	defer s.mu.Unlock()
	return *s.calls[id]
}

func (s *store) kept() []kept {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.attempts)
}

func (s *store) Due(_ context.Context, now time.Time, most int) ([]alerts.Call, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	var due []alerts.Call
	for _, c := range s.calls {
		if c.State == alerts.Queued && !c.Next.After(now) {
			due = append(due, *c)
		}
	}
	slices.SortFunc(due, func(a, b alerts.Call) int { return a.Queued.Compare(b.Queued) })
	return due[:min(most, len(due))], s.noRead
}

func (s *store) NextDue(context.Context) (next time.Time, some bool, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, c := range s.calls {
		if c.State == alerts.Queued && (!some || c.Next.Before(next)) {
			next, some = c.Next, true
		}
	}
	return next, some, s.noRead
}

func (s *store) Attempted(ctx context.Context, id string, a alerts.Attempt) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := errors.Join(s.noWrite, ctx.Err()); err != nil {
		return err
	}
	s.attempts = append(s.attempts, kept{id, a})
	c := s.calls[id]
	if c.State != alerts.Queued {
		return nil
	}
	c.Attempts++
	c.State, c.Last, c.Next = a.Outcome, a.Detail, a.Next
	if c.State != alerts.Queued {
		c.Done = a.At
	}
	return nil
}

// receiver answers as told, the last answer again and again, and notes when
// it was asked about what.
type receiver struct {
	name    string
	answers []alerts.Result
	start   time.Time

	mu  sync.Mutex
	at  []time.Duration // since start
	ids []string
}

func (r *receiver) phone() Phone { return Phone{Name: r.name, Send: r.send} }

func (r *receiver) send(_ context.Context, c alerts.Call) alerts.Result {
	r.mu.Lock()
	defer r.mu.Unlock()
	answer := r.answers[min(len(r.at), len(r.answers)-1)]
	r.at, r.ids = append(r.at, time.Since(r.start)), append(r.ids, c.ID)
	return answer
}

func (r *receiver) asked() []time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.at)
}

func (r *receiver) told() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.ids)
}

func takes(name string) *receiver {
	return says(name, alerts.Result{Verdict: alerts.Arrived, Detail: "answered 200 OK"})
}

func says(name string, answers ...alerts.Result) *receiver {
	return &receiver{name: name, answers: answers, start: time.Now()}
}

var (
	again = alerts.Result{Verdict: alerts.Again, Reason: "server", Detail: "answered 500"}
	never = alerts.Result{Verdict: alerts.Never, Reason: "gone", Detail: "answered 410"}
)

// call is due now and expires in an hour.
func call(id string) alerts.Call {
	now := time.Now()
	return alerts.Call{ID: id, Text: "C07: air stopped", State: alerts.Queued, Queued: now, Next: now, Expires: now.Add(time.Hour)}
}

// start runs an outbox whose jitter always draws the whole wait, and stops it
// when the test ends.
func start(t *testing.T, s Store, rs ...*receiver) *Outbox {
	t.Helper()
	var phones []Phone
	for _, r := range rs {
		phones = append(phones, r.phone())
	}
	b := New(Options{Store: s, Phones: phones, Jitter: func() float64 { return 1 }})
	if err := b.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, b) })
	return b
}

func stop(t *testing.T, b *Outbox) {
	t.Helper()
	if err := b.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}
