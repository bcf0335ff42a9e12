package alerts

import (
	"testing"
	"time"
)

// What somebody took and what comes back within the re-alarm time rings no
// more; after it, it is a new trouble.
func TestAcknowledgedTroubleThatComesBack(t *testing.T) {
	for _, c := range []struct {
		gone time.Duration
		want Change
	}{{rule.ReAlarm - rule.OnDelay - ms, Resumed}, {rule.ReAlarm - rule.OnDelay, Raised}, {rule.ReAlarm, Raised}} {
		a, _ := Step(Alarm{}, finding(), t0, false, rule)
		a, _ = Step(a, finding(), t0.Add(rule.OnDelay), false, rule)
		first := a.ID
		a, _ = Acknowledge(a, "duty", t0.Add(rule.OnDelay))
		a, _ = Step(a, nil, t0.Add(rule.OnDelay), false, rule)
		over := t0.Add(rule.OnDelay + rule.OffDelay)
		a, change := Step(a, nil, over, false, rule)
		if change != Cleared || a.State != Normal {
			t.Fatalf("cleared: %q, %s", change, a.State)
		}
		a, _ = Step(a, finding(), over.Add(c.gone), false, rule)
		a, change = Step(a, finding(), over.Add(c.gone+rule.OnDelay), false, rule)
		if change != c.want || a.State != Unacknowledged || (a.ID == first) != (c.want == Resumed) {
			t.Errorf("back after %v: %q in state %s, want %q", c.gone, change, a.State, c.want)
		}
	}
}

// A greater trouble of the same key is told though the lesser was taken, after
// a wait of its own; the lesser again is not.
func TestGreaterGradeIsToldAgain(t *testing.T) {
	lesser, greater := finding(), finding()
	greater.Grade = 1
	a, _ := Step(Alarm{}, lesser, t0, false, rule)
	a, _ = Step(a, lesser, t0.Add(rule.OnDelay), false, rule)
	a, _ = Acknowledge(a, "duty", t0.Add(rule.OnDelay))
	worse := t0.Add(time.Hour)
	a, change := Step(a, greater, worse, false, rule)
	if change != None {
		t.Errorf("told at once: %q", change)
	}
	if _, change = Step(a, greater, worse.Add(rule.OnDelay-ms), false, rule); change != None {
		t.Errorf("told before its wait was over: %q", change)
	}
	a, change = Step(a, greater, worse.Add(rule.OnDelay), false, rule)
	if change != Reraised || a.State != Unacknowledged {
		t.Fatalf("greater trouble: %q, %s", change, a.State)
	}
	a, _ = Acknowledge(a, "duty", worse.Add(rule.OnDelay))
	for i := range 60 {
		at := worse.Add(rule.OnDelay + time.Duration(i+1)*time.Minute)
		if a, change = Step(a, lesser, at, false, rule); change != None {
			t.Fatalf("the lesser again: %q", change)
		}
	}
}
