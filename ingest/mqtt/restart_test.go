package mqtt

import (
	"os/exec"
	"slices"
	"testing"
)

func TestBrokerIsKilledInTheMiddle(t *testing.T) {
	m := realBroker(t)
	sink := newMemory()
	s := start(t, m.url(), sink, nil)
	untilSubscribed(t, s)
	c := publisher(t, m.url())
	publish(t, c, 1, 100)
	sink.untilKept(t, 100)

	open := sink.close()
	publish(t, c, 101, 200) // acknowledged to the publisher, held by the broker for us
	<-sink.entered
	m.save()
	m.kill()
	eventually(t, "see that the broker is gone", func() bool { return !s.State().Connected })
	eventually(t, "let the publisher see it too", func() bool { return !c.IsConnectionOpen() })
	for i := 201; i <= 250; i++ { // sent while it is away: kept by the publisher
		c.Publish("shelf/C07", 1, false, payload(i))
	}
	m.run()
	open()
	sink.untilKept(t, 250)
	got := sink.arrivals()
	slices.Sort(got)
	want := payloads(1, 250)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("kept %d payloads, not the 250 that were sent", len(got))
	}
	eventually(t, "be content again", func() bool { st := s.State(); return st.LastError == "" && st.Waiting == 0 })
}

func TestTwentyThousandOverABadLine(t *testing.T) {
	const total, cuts = 20_000, 4
	m := realBroker(t)
	p := newProxy(t, m.url())
	sink := newMemory()
	s := start(t, p.url(), sink, nil)
	untilSubscribed(t, s)
	c := publisher(t, m.url())
	for part := range cuts + 1 {
		const each = total / (cuts + 1)
		publish(t, c, part*each+1, (part+1)*each)
		if part < cuts {
			p.cut() // with whatever is under way
		}
	}
	sink.untilKept(t, total)
	eventually(t, "acknowledge the rest", func() bool { return s.State().Waiting == 0 && s.State().Subscribed })
	sink.mu.Lock()
	kept := len(sink.kept)
	for i := 1; i <= total; i++ {
		if sink.kept[payload(i)] == 0 {
			t.Fatalf("%q is missing", payload(i))
		}
	}
	sink.mu.Unlock()
	if kept != total {
		t.Errorf("%d different messages of %d", kept, total)
	}
	if st := s.State(); st.Connects < 2 {
		t.Errorf("the line was never cut: %+v", st)
	}
	stop(t, s)
	p.untilQuiet(t)

	rest := newMemory() // nothing is left with the broker
	s = start(t, m.url(), rest, nil)
	untilSubscribed(t, s)
	publish(t, c, total+1, total+1)
	rest.untilKept(t, 1)
	if got := rest.arrivals(); !slices.Equal(got, payloads(total+1, total+1)) {
		t.Errorf("%d messages came again after all were acknowledged", len(got)-1)
	}
}

func command(t testing.TB, name string, args ...string) {
	t.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v: %s", name, err, out)
	}
}
