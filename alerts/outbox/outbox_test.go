package outbox

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

const ms = time.Millisecond

func seconds(ss ...float64) []time.Duration {
	var ds []time.Duration
	for _, s := range ss {
		ds = append(ds, time.Duration(s*float64(time.Second)))
	}
	return ds
}

func wantAsked(t *testing.T, r *receiver, ss ...float64) {
	t.Helper()
	synctest.Wait()
	if got, want := r.asked(), seconds(ss...); !slices.Equal(got, want) {
		t.Errorf("%s was asked at %v, want %v", r.name, got, want)
	}
}

func TestTheFirstPhoneThatTakesItIsTheLast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, first, second := newStore(call("a")), takes("first"), takes("second")
		b := start(t, s, first, second)
		wantAsked(t, first, 0)
		wantAsked(t, second)
		time.Sleep(time.Hour)
		wantAsked(t, first, 0)
		if got := s.kept(); len(got) != 1 || got[0].Phone != "first" || got[0].Outcome != alerts.Delivered {
			t.Errorf("written down: %+v", got)
		}
		if st := b.State(); st.Delivered != 1 || st.Failed != 0 || st.Queued != 0 || !st.Oldest.IsZero() {
			t.Errorf("%+v", st)
		}
	})
}

func TestNeverPassesToTheNextAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, first, second := newStore(call("a")), says("first", never), takes("second")
		start(t, s, first, second)
		wantAsked(t, first, 0)
		wantAsked(t, second, 0)
		got := s.kept()
		if len(got) != 2 || got[0].Outcome != alerts.Queued || !got[0].Next.Equal(got[0].At) || got[1].Outcome != alerts.Delivered {
			t.Errorf("written down: %+v", got)
		}
	})
}

func TestAllNeverIsFailedWithItsReason(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, first, second := newStore(call("a")), says("first", never), says("second", never)
		var log bytes.Buffer
		b := New(Options{Store: s, Phones: []Phone{first.phone(), second.phone()}, Logger: slog.New(slog.NewTextHandler(&log, nil))})
		if err := b.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		time.Sleep(2 * time.Hour)
		stop(t, b)
		wantAsked(t, first, 0)
		wantAsked(t, second, 0)
		if c := s.get("a"); c.State != alerts.Failed || !strings.Contains(c.Last, "410") || c.Done.IsZero() {
			t.Errorf("%+v", c)
		}
		if st := b.State(); st.Failed != 1 || !strings.Contains(st.LastError, "410") {
			t.Errorf("%+v", st)
		}
		if !strings.Contains(log.String(), "level=ERROR") || !strings.Contains(log.String(), "C07: air stopped") {
			t.Errorf("the log does not tell: %s", log.String())
		}
	})
}

func TestWithoutPhonesACallIsFailed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStore(call("a"))
		start(t, s)
		synctest.Wait()
		if c := s.get("a"); c.State != alerts.Failed || c.Last != "no phone is configured" {
			t.Errorf("%+v", c)
		}
	})
}

// The waits double from 5 s to 5 min (the whole of it is drawn here), from
// both sides of each.
func TestTheWaitGrowsToItsBound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := call("a")
		c.Expires = c.Queued.Add(24 * time.Hour)
		s, r := newStore(c), says("night", again)
		b := start(t, s, r)
		at := []float64{0}
		wantAsked(t, r, at...)
		for _, wait := range []float64{5, 10, 20, 40, 80, 160, 300, 300, 300} {
			time.Sleep(time.Duration(wait)*time.Second - ms)
			wantAsked(t, r, at...)
			time.Sleep(ms)
			at = append(at, at[len(at)-1]+wait)
			wantAsked(t, r, at...)
		}
		if st := b.State(); st.Retrying != 10 || st.Queued != 1 || !st.Oldest.Equal(c.Queued) {
			t.Errorf("%+v", st)
		}
	})
}

// With two phones a round asks both, and the wait grows by rounds.
func TestEveryRoundAsksEveryPhone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, first, second := newStore(call("a")), says("first", again), says("second", again, again, alerts.Result{Verdict: alerts.Arrived})
		start(t, s, first, second)
		time.Sleep(time.Hour)
		wantAsked(t, first, 0, 5, 15)
		wantAsked(t, second, 0, 5, 15)
		if c := s.get("a"); c.State != alerts.Delivered || c.Attempts != 6 {
			t.Errorf("%+v", c)
		}
	})
}

func TestRetryAfterIsHonouredByItsOwnPhoneOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slow := again
		slow.After = time.Minute
		s, first, second := newStore(call("a")), says("first", slow, never), says("second", again)
		start(t, s, first, second)
		time.Sleep(time.Minute - ms)
		wantAsked(t, first, 0)
		time.Sleep(ms)
		synctest.Wait()
		if got := second.asked(); len(got) < 3 || got[1] != 5*time.Second {
			t.Errorf("the second phone waited for the first: %v", got)
		}
		time.Sleep(20 * time.Minute)
		synctest.Wait()
		got := first.asked()
		if len(got) != 2 || got[1] < time.Minute {
			t.Errorf("first was asked at %v: too early, or again after it refused for good", got)
		}
		if n := len(second.asked()); n < 6 {
			t.Errorf("second was asked %d times only", n)
		}
	})
}

func TestRetryAfterAlone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slow := again
		slow.After = 30 * time.Second
		s, r := newStore(call("a")), says("night", slow, alerts.Result{Verdict: alerts.Arrived})
		start(t, s, r)
		time.Sleep(30*time.Second - ms)
		wantAsked(t, r, 0)
		time.Sleep(ms)
		wantAsked(t, r, 0, 30)
	})
}

func TestExpiry(t *testing.T) {
	for _, c := range []struct {
		name  string
		left  time.Duration
		asked int
		want  alerts.CallState
	}{{"a millisecond before", ms, 1, alerts.Delivered}, {"at its expiry", 0, 0, alerts.Expired}, {"after", -ms, 0, alerts.Expired}} {
		synctest.Test(t, func(t *testing.T) {
			x := call("a")
			x.Expires = time.Now().Add(c.left)
			s, r := newStore(x), takes("night")
			start(t, s, r)
			synctest.Wait()
			if got := s.get("a"); got.State != c.want || len(r.asked()) != c.asked {
				t.Errorf("%s: %+v, asked %d times", c.name, got, len(r.asked()))
			}
		})
	}
}

func TestExpiresWhileWaiting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slow := again
		slow.After = time.Hour
		x := call("a")
		x.Expires = x.Queued.Add(10 * time.Minute)
		s, r := newStore(x), says("night", slow)
		b := start(t, s, r)
		time.Sleep(10*time.Minute - ms)
		if c := s.get("a"); c.State != alerts.Queued {
			t.Errorf("too early: %+v", c)
		}
		time.Sleep(ms)
		synctest.Wait()
		if c := s.get("a"); c.State != alerts.Expired || !strings.Contains(c.Last, "answered 500") {
			t.Errorf("%+v", c)
		}
		wantAsked(t, r, 0)
		if st := b.State(); st.Failed != 1 || st.Queued != 0 {
			t.Errorf("%+v", st)
		}
	})
}

func TestWake(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, r := newStore(), takes("night")
		b := start(t, s, r)
		time.Sleep(7 * time.Second)
		s.add(call("a"))
		b.Wake()
		b.Wake() // a second one does no harm
		wantAsked(t, r, 7)
		time.Sleep(3 * time.Second)
		s.add(call("b")) // nobody wakes us: the round 60 s after the last finds it
		time.Sleep(57*time.Second - ms)
		wantAsked(t, r, 7)
		time.Sleep(ms)
		wantAsked(t, r, 7, 67)
	})
}

func TestMoreThanAHelping(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, r := newStore(), takes("night")
		for i := range 3*helping + 1 {
			s.add(call(strings.Repeat("x", i+1)))
		}
		start(t, s, r)
		synctest.Wait()
		if n := len(r.asked()); n != 3*helping+1 {
			t.Errorf("%d calls were told at once", n)
		}
	})
}

func TestAStoreThatCannotBeRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, r := newStore(call("a")), takes("night")
		s.fail(errors.New("disk trouble"), nil)
		b := start(t, s, r)
		time.Sleep(12 * time.Second)
		if st := b.State(); !strings.Contains(st.LastError, "disk trouble") {
			t.Errorf("%+v", st)
		}
		s.fail(nil, nil)
		time.Sleep(3*time.Second - ms)
		wantAsked(t, r)
		time.Sleep(ms)
		wantAsked(t, r, 15)
	})
}

func TestStartAndStop(t *testing.T) {
	b := New(Options{Store: newStore()})
	if err := b.Stop(t.Context()); err != nil {
		t.Errorf("stopped before it started: %v", err)
	}
	if err := b.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	if b.Start(t.Context()) == nil {
		t.Error("started twice")
	}
	stop(t, b)
	stop(t, b)
}

func TestBackoffBounds(t *testing.T) {
	for n := range 100 {
		for _, draw := range []float64{0, 0.5, 0.999999, 1} {
			b := New(Options{Jitter: func() float64 { return draw }})
			ceiling := min(float64(most), float64(base)*float64(uint64(1)<<min(n, 20)))
			if got := b.backoff(n); got < least || float64(got) > ceiling {
				t.Errorf("after %d rounds, draw %v: %v", n, draw, got)
			}
		}
	}
	if got := New(Options{}).backoff(0); got < least || got > base {
		t.Errorf("own jitter: %v", got)
	}
}

var _ Store = (*store)(nil)

// blocks is a phone that hangs until its context ends or it is let go.
type blocks struct {
	started chan struct{}
	result  alerts.Result
}

func (h blocks) phone() Phone {
	return Phone{Name: "hangs", Send: func(ctx context.Context, _ alerts.Call) alerts.Result {
		close(h.started)
		<-ctx.Done()
		return h.result
	}}
}
