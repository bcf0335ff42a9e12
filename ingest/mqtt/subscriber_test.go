package mqtt

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
)

// brokers are the two kinds that every promise is held against.
var brokers = map[string]func(testing.TB) string{
	"in process": inProcess,
	"mosquitto":  func(t testing.TB) string { return realBroker(t).url() },
}

func onBoth(t *testing.T, test func(t *testing.T, url string)) {
	for name, begin := range brokers {
		t.Run(name, func(t *testing.T) { test(t, begin(t)) })
	}
}

func TestMessagesArriveInOrderAndAreAcknowledged(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		sink := newMemory()
		s := start(t, url, sink, nil)
		untilSubscribed(t, s)
		publish(t, publisher(t, url), 1, 1200)
		sink.untilKept(t, 1200)
		if got := sink.arrivals(); !slices.Equal(got, payloads(1, 1200)) {
			t.Errorf("arrived out of order: %.300q", got)
		}
		eventually(t, "acknowledge all", func() bool { return s.State().Acknowledged == 1200 })
		st := s.State()
		if !st.Connected || st.Connects != 1 || st.Received != 1200 || st.LastError != "" || st.Waiting != 0 || st.LastMessage.IsZero() {
			t.Errorf("state %+v", st)
		}
	})
}

func TestNothingIsAcknowledgedBeforeTheSinkHasIt(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		sink := newMemory()
		open := sink.close()
		s := start(t, url, sink, nil)
		untilSubscribed(t, s)
		publish(t, publisher(t, url), 1, 10)
		<-sink.entered
		eventually(t, "take all", func() bool { return s.State().Received == 10 })
		if n := s.State().Acknowledged; n != 0 {
			t.Errorf("%d acknowledged while the sink had none", n)
		}
		abandon(t, s)
		open()

		p := newProxy(t, url)
		second := newMemory()
		s = start(t, p.url(), second, nil)
		second.untilKept(t, 10)
		eventually(t, "acknowledge all", func() bool { return s.State().Acknowledged == 10 })
		if st := s.State(); st.Redelivered != 10 {
			t.Errorf("%d of 10 marked as sent before", st.Redelivered)
		}
		stop(t, s)
		p.untilQuiet(t)

		third := newMemory() // the broker owes us nothing now
		s = start(t, url, third, nil)
		untilSubscribed(t, s)
		publish(t, publisher(t, url), 11, 11)
		third.untilKept(t, 1)
		if got := third.arrivals(); !slices.Equal(got, payloads(11, 11)) {
			t.Errorf("came again after it was acknowledged: %q", got)
		}
	})
}

func TestMessagesSentWhileAwayArrive(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		s := start(t, url, newMemory(), nil)
		untilSubscribed(t, s)
		stop(t, s)
		publish(t, publisher(t, url), 1, 30)
		sink := newMemory()
		start(t, url, sink, nil)
		sink.untilKept(t, 30)
	})
}

func TestFailingSinkRecovers(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		sink := newMemory()
		sink.fail(errors.New("disk is full"))
		s := start(t, url, sink, nil)
		untilSubscribed(t, s)
		publish(t, publisher(t, url), 1, 50)
		sink.until(t, "try three times", func() bool { return sink.puts >= 3 })
		st := s.State()
		if st.Acknowledged != 0 || !st.Connected || !strings.Contains(st.LastError, "disk is full") {
			t.Errorf("state while the sink fails: %+v", st)
		}
		sink.fail(nil)
		sink.untilKept(t, 50)
		if got := sink.arrivals(); !slices.Equal(got, payloads(1, 50)) {
			t.Errorf("out of order without a lost connection: %q", got)
		}
		eventually(t, "acknowledge all and be content", func() bool {
			return s.State().Acknowledged == 50 && s.State().LastError == ""
		})
	})
}

func TestLineIsCutAndComesBack(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		p := newProxy(t, url)
		sink := newMemory()
		open := sink.close()
		s := start(t, p.url(), sink, nil)
		untilSubscribed(t, s)
		c := publisher(t, url)
		publish(t, c, 1, 20)
		<-sink.entered
		p.cut()
		eventually(t, "see that it is cut", func() bool { return !s.State().Connected })
		if e := s.State().LastError; !strings.Contains(e, "connection lost") {
			t.Errorf("last error %q", e)
		}
		eventually(t, "take the old messages again", func() bool { return s.State().Redelivered >= 20 })
		open()
		sink.untilKept(t, 20)
		publish(t, c, 21, 40)
		sink.untilKept(t, 40)
		eventually(t, "acknowledge the new copies", func() bool { return s.State().Acknowledged == 40 })
		untilSubscribed(t, s) // the in-process broker refuses the first time if ids collide
		if st := s.State(); st.Connects != 2 || st.LastError != "" {
			t.Errorf("state %+v", st)
		}
	})
}

func TestBrokerIsAwayAtStart(t *testing.T) {
	url := inProcess(t)
	p := newProxy(t, url)
	p.setRefuse(true)
	sink := newMemory()
	s := start(t, p.url(), sink, nil)
	eventually(t, "fail once", func() bool { return strings.Contains(s.State().LastError, "connect to "+p.url()) })
	if s.State().Since.IsZero() {
		t.Error("does not say since when it is not connected")
	}
	p.setRefuse(false)
	untilSubscribed(t, s)
	publish(t, publisher(t, url), 1, 1)
	sink.untilKept(t, 1)
}

func TestStopWhileTheBrokerIsAway(t *testing.T) {
	s := start(t, fmt.Sprintf("mqtt://127.0.0.1:%d", freePort(t)), newMemory(), nil)
	eventually(t, "fail once", func() bool { return s.State().LastError != "not connected yet" })
	began := time.Now()
	stop(t, s)
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("stopping took %v", took)
	}
}

func TestStopDrainsWhatWasTaken(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		p := newProxy(t, url)
		sink := newMemory()
		open := sink.close()
		s := start(t, p.url(), sink, func(o *Options) { o.MaxBatch = 7 })
		untilSubscribed(t, s)
		publish(t, publisher(t, url), 1, 100)
		eventually(t, "take all", func() bool { return s.State().Received == 100 })
		stopped := make(chan struct{})
		go func() { defer close(stopped); stop(t, s) }()
		<-s.soft
		open()
		<-stopped
		if st := s.State(); st.Acknowledged != 100 || st.Connected || st.Waiting != 0 {
			t.Errorf("state after stop %+v", st)
		}
		p.untilQuiet(t)
		again := newMemory()
		s = start(t, url, again, nil)
		untilSubscribed(t, s)
		publish(t, publisher(t, url), 101, 101)
		again.untilKept(t, 1)
		if got := again.arrivals(); !slices.Equal(got, payloads(101, 101)) {
			t.Errorf("acknowledgements were lost in stopping: %q", got)
		}
	})
}

func TestEndOfContextStops(t *testing.T) {
	url := inProcess(t)
	s, err := New(Options{URL: url, ClientID: "room-1", Topics: []string{"#"}, Sink: newMemory(), FirstWait: -1})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	if err := s.Start(ctx); err != nil {
		t.Fatal(err)
	}
	if err := s.Start(ctx); err == nil {
		t.Error("started twice")
	}
	untilSubscribed(t, s)
	cancel()
	select {
	case <-s.finished:
	case <-time.After(patienceOfTest):
		t.Error("goes on after its context has ended")
	}
	stop(t, s)
}

func TestFullInboxDropsTheConnectionAndLosesNothing(t *testing.T) {
	url := inProcess(t)
	sink := newMemory()
	open := sink.close()
	s := start(t, url, sink, func(o *Options) { o.Inbox, o.MaxBatch = 8, 4 }) // far under the broker's window
	untilSubscribed(t, s)
	publish(t, publisher(t, url), 1, 60)
	eventually(t, "drop the connection", func() bool { return s.State().Overflows >= 1 })
	eventually(t, "say why it waits", func() bool { return strings.Contains(s.State().LastError, "waiting until") })
	if st := s.State(); st.Waiting != 8 || st.Acknowledged != 0 || st.Overflows != 1 {
		t.Errorf("state %+v", st)
	}
	open()
	sink.untilKept(t, 60)
}

func TestWhatAMessageCarries(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		c := publisher(t, url)
		wait(t, "publish", c.Publish("shelf/kept", 1, true, "retained"))
		now := time.Date(2031, 3, 4, 5, 6, 7, 0, time.UTC)
		sink := newMemory()
		s := start(t, url, sink, func(o *Options) {
			o.Topics = []string{"shelf/#", "shelf/+", "other"} // they overlap
			o.MaxPayload = 1000
			o.Now = func() time.Time { return now }
		})
		untilSubscribed(t, s)
		retained := 0 // the in-process broker may send a live copy too
		sink.until(t, "get the retained message", func() bool {
			for _, m := range sink.all {
				if m.Retained {
					retained++
				}
			}
			return retained > 0
		})
		wait(t, "publish", c.Publish("shelf/empty", 1, false, ""))
		wait(t, "publish", c.Publish("other", 1, false, "0.41"))
		big := strings.Repeat("x", 5000)
		wait(t, "publish", c.Publish("shelf/big", 1, false, big))
		sink.untilKept(t, 4)
		eventually(t, "acknowledge all", func() bool { st := s.State(); return st.Acknowledged == st.Received })
		if st := s.State(); st.Oversize < 1 || st.LastMessage != now {
			t.Errorf("state %+v", st)
		}
		sink.mu.Lock()
		defer sink.mu.Unlock()
		want := map[string]string{"retained": "shelf/kept", "": "shelf/empty", "0.41": "other", big: "shelf/big"}
		for _, m := range sink.all {
			if want[string(m.Payload)] != m.Topic || m.Arrived != now || m.Retained && m.Topic != "shelf/kept" {
				t.Errorf("message of %d bytes from %q at %v, retained %v", len(m.Payload), m.Topic, m.Arrived, m.Retained)
			}
		}
	})
}

func TestTwoClientsWithOneIDAreCounted(t *testing.T) {
	url := inProcess(t)
	first, second := start(t, url, newMemory(), nil), start(t, url, newMemory(), nil)
	eventually(t, "throw each other out", func() bool {
		return strings.Contains(first.State().LastError+second.State().LastError, `does another client use the id "room-1"?`)
	})
	if n := first.State().Connects + second.State().Connects; n < 6 {
		t.Errorf("%d connects counted", n)
	}
}

func TestPasswords(t *testing.T) {
	path := "/usr/bin/mosquitto_passwd"
	if _, err := os.Stat(path); err != nil {
		if requireAll() {
			t.Fatal("mosquitto_passwd is missing")
		}
		t.Skip("mosquitto_passwd is missing")
	}
	folder := t.TempDir()
	users := filepath.Join(folder, "users")
	command(t, path, "-c", "-b", users, "listener", "right")
	m := realBroker(t, "allow_anonymous false", "password_file "+users)
	secret := filepath.Join(folder, "secret")
	if err := os.WriteFile(secret, []byte("wrong\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := start(t, m.url(), newMemory(), func(o *Options) { o.Username, o.PasswordFile = "listener", secret })
	eventually(t, "be refused", func() bool { return strings.Contains(s.State().LastError, `as "listener"`) })
	st := s.State()
	if st.Connected || strings.Contains(st.LastError, "wrong") || !strings.Contains(strings.ToLower(st.LastError), "not authorized") {
		t.Errorf("state after a wrong password %+v", st)
	}
	if err := os.WriteFile(secret, []byte("right\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	untilSubscribed(t, s) // the new password is read without a restart

	if err := os.Remove(secret); err != nil {
		t.Fatal(err)
	}
	other := start(t, m.url(), newMemory(), func(o *Options) {
		o.ClientID, o.Username, o.PasswordFile = "room-2", "listener", secret
	})
	eventually(t, "miss the file", func() bool { return strings.Contains(other.State().LastError, "read password file") })
}

// guard refuses one topic until it is opened.
type guard struct {
	auth.AllowHook
	opened atomic.Bool
}

func (g *guard) OnACLCheck(_ *broker.Client, topic string, _ bool) bool {
	return topic != "private/#" || g.opened.Load()
}

func TestRefusedTopicIsShownAndAskedForAgain(t *testing.T) {
	g := new(guard)
	url := inProcessWith(t, g)
	sink := newMemory()
	s := start(t, url, sink, func(o *Options) { o.Topics = []string{"shelf/#", "private/#"} })
	eventually(t, "be refused", func() bool { return s.State().LastError == `the broker refuses topic "private/#"` })
	if st := s.State(); !st.Connected || st.Subscribed {
		t.Errorf("state %+v", st)
	}
	publish(t, publisher(t, url), 1, 1)
	sink.untilKept(t, 1) // the other topic works
	g.opened.Store(true)
	untilSubscribed(t, s)
}

func TestLowerQoSIsShown(t *testing.T) {
	err := refusals(map[string]byte{"a": 1, "b": 0, "c": 0x80, "d": 2})
	want := `the broker grants topic "b" at QoS 0 only: what comes while we are away is lost; the broker refuses topic "c"`
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}
