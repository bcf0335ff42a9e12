package mqtt

import (
	"context"
	"errors"
	"net"
	"os"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

func of(bytes int) delivery {
	return delivery{message: ingest.Message{Payload: make([]byte, bytes)}, ack: func() bool { return true }}
}

func TestInboxIsBoundedByMessagesAndBytes(t *testing.T) {
	for name, c := range map[string]struct {
		limit, maxBytes int
		sizes           []int
		want            []bool
	}{
		"messages":                        {2, 100, []int{1, 1, 1}, []bool{true, true, false}},
		"messages without payload":        {2, 100, []int{0, 0, 0}, []bool{true, true, false}},
		"bytes, to the last":              {9, 100, []int{60, 40, 1}, []bool{true, true, false}},
		"bytes, one less":                 {9, 100, []int{60, 39, 1, 1}, []bool{true, true, true, false}},
		"one that is too large by itself": {9, 100, []int{1000, 1}, []bool{true, false}},
		"too large and not the first":     {9, 100, []int{1, 1000, 1}, []bool{true, false, true}},
	} {
		b := newInbox(c.limit, c.maxBytes)
		var got []bool
		for _, size := range c.sizes {
			got = append(got, b.try(of(size)))
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: taken %v, want %v", name, got, c.want)
		}
	}
}

func TestInboxWaitsForRoom(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newInbox(1, 100)
		b.try(of(1))
		began := time.Now()
		if b.put(of(1), 2*time.Second, nil) {
			t.Error("taken with no room")
		}
		if waited := time.Since(began); waited != 2*time.Second {
			t.Errorf("waited %v, want 2s", waited)
		}
		time.AfterFunc(time.Second, func() { b.done([]delivery{<-b.queue}) })
		began = time.Now()
		if !b.put(of(1), 2*time.Second, nil) {
			t.Error("not taken after room was made")
		}
		if waited := time.Since(began); waited != time.Second {
			t.Errorf("waited %v, want 1s", waited)
		}
		stop := make(chan struct{})
		close(stop)
		if b.put(of(1), 2*time.Second, stop) || b.waitForHalf(stop) {
			t.Error("waits although it shall stop")
		}
		time.AfterFunc(time.Second, func() { b.done([]delivery{<-b.queue}) })
		if !b.waitForHalf(nil) || b.held.Load() != 0 {
			t.Error("does not see that it is empty")
		}
	})
}

// collected runs the collector over what feed puts in and returns the sizes of
// the batches and when each was put.
func collected(t *testing.T, sink func(n int) error, feed func(s *Subscriber)) (sizes []int, at []time.Duration) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		s, err := New(Options{URL: "mqtt://localhost", ClientID: "x", Topics: []string{"#"}, MaxBatch: 4,
			Sink: sinkFunc(func(m []ingest.Message) error {
				sizes, at = append(sizes, len(m)), append(at, time.Since(began))
				return sink(len(sizes))
			})})
		if err != nil {
			t.Fatal(err)
		}
		done := make(chan struct{})
		go func() { defer close(done); s.collect() }()
		feed(s)
		s.beginStop()
		<-done
		s.giveUp()
		if n := s.inbox.held.Load(); n != 0 {
			t.Errorf("%d messages left", n)
		}
	})
	return sizes, at
}

type sinkFunc func([]ingest.Message) error

func (f sinkFunc) Put(_ context.Context, m []ingest.Message) error { return f(m) }

func TestBatches(t *testing.T) {
	fine := func(int) error { return nil }
	sizes, at := collected(t, fine, func(s *Subscriber) {
		for range 9 {
			s.inbox.try(of(1))
		}
		time.Sleep(time.Second) // of synctest: the collector runs dry
	})
	if !slices.Equal(sizes, []int{4, 4, 1}) || at[2] != DefaultIdle {
		t.Errorf("nine at once: batches of %v at %v", sizes, at)
	}
	sizes, at = collected(t, fine, func(s *Subscriber) {
		for range 3 { // each just before the idle time is over
			s.inbox.try(of(1))
			time.Sleep(DefaultIdle - 1)
		}
		time.Sleep(time.Second)
	})
	if !slices.Equal(sizes, []int{3}) || at[0] != 2*(DefaultIdle-1)+DefaultIdle {
		t.Errorf("close together: batches of %v at %v", sizes, at)
	}
	sizes, _ = collected(t, fine, func(s *Subscriber) {
		for range 2 { // just after it
			s.inbox.try(of(1))
			time.Sleep(DefaultIdle + 1)
		}
	})
	if !slices.Equal(sizes, []int{1, 1}) {
		t.Errorf("far apart: batches of %v", sizes)
	}
	sizes, _ = collected(t, fine, func(s *Subscriber) {
		for range 3 {
			s.inbox.try(of(maxBatchBytes / 2))
		}
		time.Sleep(time.Second)
	})
	if !slices.Equal(sizes, []int{2, 1}) {
		t.Errorf("large ones: batches of %v", sizes)
	}
}

func TestFailedBatchIsPutAgainWithCappedWaits(t *testing.T) {
	const failures = 40
	sizes, at := collected(t, func(n int) error {
		if n <= failures {
			return errors.New("disk is full")
		}
		return nil
	}, func(s *Subscriber) {
		s.inbox.try(of(1))
		time.Sleep(time.Hour)
		if e := s.State().LastError; e != "" {
			t.Errorf("still unhappy: %s", e)
		}
	})
	if len(sizes) != failures+1 {
		t.Fatalf("put %d times", len(sizes))
	}
	longest := time.Duration(0)
	for i := 1; i < len(at); i++ {
		longest = max(longest, at[i]-at[i-1])
	}
	if longest > lastPutRetry || longest < time.Second {
		t.Errorf("longest wait %v, want up to %v", longest, lastPutRetry)
	}
}

func TestFullJitterSpreads(t *testing.T) {
	j := newFullJitter(time.Second, 4*time.Second)
	for _, bound := range []time.Duration{time.Second, 2 * time.Second, 4 * time.Second, 4 * time.Second} {
		if d := j.NextBackOff(); d < 0 || d > bound {
			t.Errorf("wait of %v, want up to %v", d, bound)
		}
	}
	below := 0 // of 1,000 waits up to 4 s about half are under 2 s
	for range 1000 {
		if j.NextBackOff() < 2*time.Second {
			below++
		}
	}
	if below < 400 || below > 600 {
		t.Errorf("%d of 1000 waits in the lower half", below)
	}
}

func TestWritingToABrokerThatDoesNotReadEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		defer func() { _, _ = near.Close(), far.Close() }()
		began := time.Now()
		_, err := guarded{near}.Write([]byte("x"))
		if !errors.Is(err, os.ErrDeadlineExceeded) || time.Since(began) != writeTimeout {
			t.Errorf("after %v: %v", time.Since(began), err)
		}
	})
}
