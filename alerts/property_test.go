package alerts

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func drawRule(t *rapid.T) Rule {
	minutes := func(name string, most int) time.Duration {
		return time.Duration(rapid.IntRange(0, most).Draw(t, name)) * time.Minute
	}
	r := Rule{OnDelay: minutes("on", 10), Staffed: minutes("staffed", 30), OffDelay: minutes("off", 30), ReAlarm: minutes("re-alarm", 120)}
	r.Priority = High
	return r
}

// A raised alarm was always preceded by a finding that stood without a break
// for the on-delay, whatever came before and however the clock jumped.
func TestRaisedOnlyAfterTheOnDelay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, a, now := drawRule(t), Alarm{}, t0
		var since time.Time // of the finding that stands; zero: none
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(-120, 1800).Draw(t, "seconds")) * time.Second)
			seen, staffed := rapid.Bool().Draw(t, "seen"), rapid.Bool().Draw(t, "staffed")
			if rapid.IntRange(0, 9).Draw(t, "ack") == 0 {
				a, _ = Acknowledge(a, "x", now)
			}
			f := finding()
			if !seen {
				f = nil
			}
			before := a
			switch stale := now.Before(a.latest()); {
			case stale: // says nothing about what is known of later
			case !seen:
				since = time.Time{}
			case since.IsZero():
				since = now
			}
			if f != nil {
				f.Since = now // a stale one tells nothing
				if !since.IsZero() {
					f.Since = since
				}
			}
			var change Change
			a, change = Step(a, f, now, staffed, r)
			if change != Raised && change != Reraised && change != Resumed {
				continue
			}
			if !seen || now.Sub(since) < r.OnDelay {
				t.Fatalf("%q after the finding stood for %v of %v", change, now.Sub(since), r.OnDelay)
			}
			if now.Before(before.Raised) || now.Before(before.Ended) {
				t.Fatalf("%q at %v, before what was known: %+v", change, now, before)
			}
		}
	})
}

// One fault whose finding is never gone for the whole off-delay is one alarm.
func TestFlickerIsOneAlarm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRule(t)
		r.OffDelay += time.Minute
		a, now, changes := Alarm{}, t0, []Change(nil)
		note := func(seen bool) {
			f := finding()
			if !seen {
				f = nil
			}
			var c Change
			if a, c = Step(a, f, now, false, r); c != None {
				changes = append(changes, c)
			}
		}
		note(true)
		now = now.Add(r.OnDelay)
		note(true)
		for range rapid.IntRange(1, 40).Draw(t, "dips") {
			now = now.Add(time.Duration(rapid.IntRange(0, 3600).Draw(t, "there")) * time.Second)
			note(false)
			gap := rapid.Int64Range(0, int64(r.OffDelay)-1).Draw(t, "gap")
			now = now.Add(time.Duration(gap))
			note(rapid.Bool().Draw(t, "back already"))
			note(true)
		}
		if len(changes) != 1 || changes[0] != Raised {
			t.Fatalf("one flickering fault made the changes %q", changes)
		}
	})
}

// Without anybody acknowledging, two calls that raise are never closer than
// the re-alarm time, or the finding was gone longer than that.
func TestCallsKeepTheReAlarmTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, a, now := drawRule(t), Alarm{}, t0
		var last time.Time
		for range rapid.IntRange(1, 80).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(0, 3000).Draw(t, "seconds")) * time.Second)
			f := finding()
			if rapid.Bool().Draw(t, "gone") {
				f = nil
			}
			var c Change
			a, c = Step(a, f, now, false, r)
			if c.Kind() != KindRaised {
				continue
			}
			if !last.IsZero() && now.Sub(last) < r.ReAlarm {
				t.Fatalf("a second call %v after the first, re-alarm time %v", now.Sub(last), r.ReAlarm)
			}
			last = now
		}
	})
}
