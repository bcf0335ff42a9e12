package outbox

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// The process ends after a receiver took the call and before that is on disk:
// the next one brings the call again, under the same id.
func TestKilledBetweenDeliveryAndWriting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, r := newStore(call("a")), takes("night")
		s.fail(nil, errors.New("killed"))
		first := start(t, s, r)
		wantAsked(t, r, 0)
		stop(t, first) // what it holds in memory is gone with it
		s.fail(nil, nil)
		time.Sleep(time.Second)
		start(t, s, r)
		wantAsked(t, r, 0, 1)
		if ids := r.told(); !slices.Equal(ids, []string{"a", "a"}) {
			t.Errorf("told %q", ids)
		}
		if c := s.get("a"); c.State != alerts.Delivered {
			t.Errorf("%+v", c)
		}
	})
}

// While the disk is full the phone rings once a call, not every few seconds,
// and other calls still go out; when it has room again all is written down.
func TestAFullDiskRingsOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, r := newStore(call("a")), takes("night")
		s.fail(nil, errors.New("disk full"))
		b := start(t, s, r)
		time.Sleep(10*time.Minute + time.Second)
		s.add(call("b"))
		b.Wake()
		synctest.Wait()
		if ids := r.told(); !slices.Equal(ids, []string{"a", "b"}) {
			t.Errorf("told %q", ids)
		}
		if st := b.State(); st.Unwritten != 2 || st.Delivered != 2 || st.Queued != 2 || !strings.Contains(st.LastError, "disk full") {
			t.Errorf("%+v", st)
		}
		s.fail(nil, nil)
		time.Sleep(rest)
		synctest.Wait()
		if s.get("a").State != alerts.Delivered || s.get("b").State != alerts.Delivered || len(s.kept()) != 2 {
			t.Errorf("written down: %+v", s.kept())
		}
		if st := b.State(); st.Unwritten != 0 || st.Queued != 0 {
			t.Errorf("%+v", st)
		}
	})
}

// An attempt that could not be written down still counts: the waits grow, the
// next phone is asked, and the order in which all is written down is kept.
func TestAFullDiskKeepsTheWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, first, second := newStore(call("a")), says("first", never), says("second", again)
		s.fail(nil, errors.New("disk full"))
		start(t, s, first, second)
		time.Sleep(2 * time.Minute)
		wantAsked(t, first, 0)
		if n := len(second.asked()); n < 3 || n > 8 {
			t.Errorf("second was asked %d times in two minutes: %v", n, second.asked())
		}
		s.fail(nil, nil)
		time.Sleep(rest)
		synctest.Wait()
		got := s.kept()
		if len(got) < 4 || got[0].Phone != "first" || !slices.IsSortedFunc(got, func(a, b kept) int { return a.At.Compare(b.At) }) {
			t.Errorf("written down: %+v", got)
		}
	})
}

// Stopping cuts an attempt short and leaves the call as it was.
func TestStopWithinAnAttempt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStore(call("a"))
		before := s.get("a")
		h := blocks{started: make(chan struct{}), result: again}
		b := New(Options{Store: s, Phones: []Phone{h.phone()}})
		if err := b.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		<-h.started
		stop(t, b)
		if c := s.get("a"); c.State != alerts.Queued || c.Attempts != 0 || !c.Next.Equal(before.Next) || len(s.kept()) != 0 {
			t.Errorf("%+v", c)
		}
	})
}

// A call that arrived while we stop is written down, so that it does not ring
// again after the restart.
func TestArrivedWhileStopping(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStore(call("a"))
		h := blocks{started: make(chan struct{}), result: alerts.Result{Verdict: alerts.Arrived}}
		b := New(Options{Store: s, Phones: []Phone{h.phone()}})
		if err := b.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		<-h.started
		stop(t, b)
		if c := s.get("a"); c.State != alerts.Delivered {
			t.Errorf("%+v", c)
		}
	})
}

// A phone that keeps no bound of its own is bounded here, on both sides.
func TestAPhoneThatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, next := newStore(call("a")), takes("next")
		h := blocks{started: make(chan struct{}), result: again}
		b := New(Options{Store: s, Phones: []Phone{h.phone(), next.phone()}})
		if err := b.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		defer stop(t, b)
		time.Sleep(longest - ms)
		wantAsked(t, next)
		time.Sleep(ms)
		wantAsked(t, next, longest.Seconds())
	})
}

// A phone that refused for good is left out even where the clock was set back
// and every other one seems to be resting; where all refused, none is left.
func TestReady(t *testing.T) {
	m, now := newMemory(), time.Unix(1e9, 0)
	phones := []Phone{{Name: "gone"}, {Name: "rests"}}
	m.keep("a", "gone", forGood)
	m.keep("a", "rests", now.Add(time.Hour))
	if got := m.ready("a", phones, now); len(got) != 1 || got[0].Name != "rests" {
		t.Errorf("%v", got)
	}
	if got := m.ready("a", phones[:1], now); len(got) != 0 {
		t.Errorf("asks %v, which refused for good", got)
	}
	if got := m.ready("b", phones, now); len(got) != 2 {
		t.Errorf("another call: %v", got)
	}
	m.forget("a")
	if got := m.ready("a", phones, now); len(got) != 2 {
		t.Errorf("forgotten: %v", got)
	}
}
