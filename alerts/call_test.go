package alerts

import (
	"strings"
	"testing"
	"time"
)

func TestNewCall(t *testing.T) {
	wall := t0.Add(time.Hour)
	a, b := in(Unacknowledged), in(Unacknowledged)
	a.Priority, a.Finding, b.ID = Low, full(), "second"
	c := NewCall("room", KindRaised, []Alarm{a, b}, "text", "body", t0, wall)
	if c.Vessel != "C07" || c.Lot != "L23" || c.Prio != High || len(c.Alarms) != 2 || c.State != Queued || c.Room != "room" {
		t.Errorf("%+v", c)
	}
	if !c.Decided.Equal(t0) || !c.Queued.Equal(wall) || !c.Next.Equal(wall) || c.Expires.Sub(wall) != RaisedExpires {
		t.Errorf("times: %+v", c)
	}
	if over := NewCall("room", KindCleared, []Alarm{a}, "", "", t0, wall); over.Expires.Sub(wall) != ClearedExpires {
		t.Errorf("a cleared call expires after %v", over.Expires.Sub(wall))
	}
}

func TestCallIDIsStableAndItsOwn(t *testing.T) {
	a, b := in(Unacknowledged), in(Unacknowledged)
	b.ID = "second"
	id := func(room, kind string, alarms ...Alarm) string {
		return NewCall(room, kind, alarms, "any", "any", time.Now(), time.Now()).ID
	}
	first := id("room", KindRaised, a, b)
	if again := id("room", KindRaised, b, a); again != first {
		t.Errorf("decided again: %s, %s", first, again)
	}
	if strings.Contains(first, ".") || len(first) < 16 {
		t.Errorf("id %q", first)
	}
	later := a
	later.Raised = t0.Add(time.Hour)
	seen := map[string]bool{first: true}
	for _, other := range []string{id("other", KindRaised, a, b), id("room", KindCleared, a, b), id("room", KindRaised, a),
		id("room", KindRaised, later, b)} {
		if seen[other] {
			t.Errorf("two different calls share the id %s", other)
		}
		seen[other] = true
	}
}
