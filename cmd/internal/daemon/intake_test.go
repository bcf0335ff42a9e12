package daemon

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"github.com/nightshelf/nightshelf/ingest"
)

// slowKeeper commits when it is told to, and fails when it is told to.
type slowKeeper struct {
	mu      sync.Mutex
	commits [][]ingest.Batch
	fail    error
	gate    chan struct{} // a commit takes one; nil: at once
	began   chan struct{} // a commit tells that it has begun; nil: nobody asks
}

func (k *slowKeeper) AppendAll(_ context.Context, batches []ingest.Batch) ([]ingest.Kept, error) {
	if k.began != nil {
		k.began <- struct{}{}
	}
	if k.gate != nil {
		<-k.gate
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.fail != nil {
		return nil, k.fail
	}
	k.commits = append(k.commits, batches)
	return make([]ingest.Kept, len(batches)), nil
}

// plainDecode makes one reading of a message, of the vessel it names.
func plainDecode(m ingest.Message) ingest.Batch {
	return ingest.Batch{Arrived: m.Arrived, Readings: []ingest.Reading{{Vessel: string(m.Payload), Quantity: ingest.OD, At: m.Arrived}}}
}

func running(t *testing.T, k keeper) *intake {
	in := newIntake(k, plainDecode, newCounters(prometheus.NewRegistry()))
	ctx, cancel := context.WithCancel(t.Context())
	go in.run(ctx)
	t.Cleanup(func() { cancel(); <-in.done })
	return in
}

func message(vessel string) []ingest.Message {
	return []ingest.Message{{Payload: []byte(vessel), Arrived: time.Unix(1e9, 0)}}
}

func TestPutReturnsAfterTheCommit(t *testing.T) {
	k := &slowKeeper{gate: make(chan struct{}), began: make(chan struct{}, 1)}
	in := running(t, k)
	done := make(chan error, 1)
	go func() { done <- in.Put(t.Context(), message("C01")) }()
	<-k.began
	select {
	case <-done:
		t.Fatal("Put returned before the commit")
	default:
	}
	k.gate <- struct{}{}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}

func TestFailedCommitIsTold(t *testing.T) {
	locked := errors.New("database is locked")
	k := &slowKeeper{fail: locked}
	in := running(t, k)
	if err := in.Put(t.Context(), message("C01")); !errors.Is(err, locked) {
		t.Errorf("error %v, want %v", err, locked)
	}
	k.mu.Lock()
	k.fail = nil
	k.mu.Unlock()
	if err := in.Put(t.Context(), message("C01")); err != nil {
		t.Errorf("after the lock was gone: %v", err)
	}
}

// Puts that wait while another commits share the next commit.
func TestPutsShareACommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := &slowKeeper{gate: make(chan struct{})}
		in := running(t, k)
		var all sync.WaitGroup
		put := func(n int) {
			all.Go(func() {
				if err := in.Put(t.Context(), message(fmt.Sprintf("C%02d", n))); err != nil {
					t.Error(err)
				}
			})
		}
		put(0)
		synctest.Wait() // it commits
		for n := 1; n <= 20; n++ {
			put(n)
		}
		synctest.Wait() // these wait
		close(k.gate)
		all.Wait()
		n := 0
		for _, c := range k.commits {
			n += len(c)
		}
		if n != 21 || len(k.commits) != 2 {
			t.Errorf("%d batches in %d commits, want 21 in 2", n, len(k.commits))
		}
	})
}

func TestTooManyUnknownVesselsAreSetAside(t *testing.T) {
	k := &slowKeeper{}
	in := running(t, k)
	in.known["C01"] = true
	for n := range mostUnknown + 5 {
		if err := in.Put(t.Context(), message(fmt.Sprintf("U%d", n))); err != nil {
			t.Fatal(err)
		}
	}
	if err := in.Put(t.Context(), message("C01")); err != nil {
		t.Fatal(err)
	}
	readings, aside := 0, 0
	for _, c := range k.commits {
		for _, b := range c {
			readings += len(b.Readings)
			for _, r := range b.Refused {
				if r.Reason == ingest.TooMany {
					aside++
				}
			}
		}
	}
	if readings != mostUnknown+1 || aside != 5 {
		t.Errorf("%d readings kept and %d set aside, want %d and 5", readings, aside, mostUnknown+1)
	}
}

func TestMuchRubbishIsToldInFewPieces(t *testing.T) {
	k := &slowKeeper{}
	in := newIntake(k, func(ingest.Message) ingest.Batch {
		return ingest.Batch{Refused: make([]ingest.Refused, 5000), Readings: []ingest.Reading{{Vessel: "C01", Quantity: ingest.OD}}}
	}, newCounters(prometheus.NewRegistry()))
	ctx, cancel := context.WithCancel(t.Context())
	go in.run(ctx)
	t.Cleanup(func() { cancel(); <-in.done })
	if err := in.Put(t.Context(), message("")); err != nil {
		t.Fatal(err)
	}
	got := k.commits[0][0]
	if len(got.Refused) != mostRefused+1 || !strings.Contains(got.Refused[mostRefused].Detail, "4900 more") || len(got.Readings) != 1 {
		t.Errorf("%d pieces set aside, %d readings; last: %s", len(got.Refused), len(got.Readings), got.Refused[len(got.Refused)-1].Detail)
	}
}

func TestPutAfterTheEnd(t *testing.T) {
	in := newIntake(&slowKeeper{}, plainDecode, newCounters(prometheus.NewRegistry()))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	in.run(ctx)
	if err := in.Put(t.Context(), message("C01")); !errors.Is(err, ingest.ErrClosed) {
		t.Errorf("error %v, want %v", err, ingest.ErrClosed)
	}
}
