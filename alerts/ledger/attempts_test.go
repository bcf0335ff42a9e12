package ledger

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/nightshelf/nightshelf/alerts"
)

func TestAttempted(t *testing.T) {
	l, _ := opened(t)
	commit(t, l, Decision{Calls: []alerts.Call{call("c", 0, alerts.High), call("d", 0, alerts.High)}})
	try := func(id string, minute int, phone string, outcome alerts.CallState, detail string) alerts.Attempt {
		t.Helper()
		a := alerts.Attempt{At: night.Add(time.Duration(minute) * time.Minute), Phone: phone, Outcome: outcome, Detail: detail}
		if outcome == alerts.Queued {
			a.Next = a.At.Add(30 * time.Second)
		}
		if err := l.Attempted(t.Context(), id, a); err != nil {
			t.Fatal(err)
		}
		return a
	}
	want := func(id string, c alerts.Call) {
		t.Helper()
		if got, err := l.Call(t.Context(), id); err != nil || !reflect.DeepEqual(got, c) {
			t.Errorf("%v\n got %+v\nwant %+v", err, got, c)
		}
	}
	all := []alerts.Attempt{try("c", 1, "first", alerts.Queued, "no answer")}
	c := call("c", 0, alerts.High)
	c.Attempts, c.Last, c.Next = 1, "no answer", all[0].Next
	want("c", c)
	// The same call decided again, as after a kill, takes nothing back.
	commit(t, l, Decision{Calls: []alerts.Call{call("c", 0, alerts.High)}})
	want("c", c)
	all = append(all, try("c", 2, "second", alerts.Delivered, "200"))
	c.Attempts, c.Last, c.Next, c.State, c.Done, c.Phone = 2, "200", time.Time{}, alerts.Delivered, all[1].At, "second"
	want("c", c)
	all = append(all, try("c", 3, "first", alerts.Queued, "late"), try("c", 4, "", alerts.Expired, "late"))
	c.Attempts = 3
	want("c", c)
	if got, err := l.Attempts(t.Context(), "c"); err != nil || !reflect.DeepEqual(got, all) {
		t.Errorf("%v\n got %+v\nwant %+v", err, got, all)
	}

	try("d", 1, "", alerts.Expired, "too old")
	d := call("d", 0, alerts.High)
	d.State, d.Last, d.Next, d.Done = alerts.Expired, "too old", time.Time{}, night.Add(time.Minute)
	want("d", d)
	try("d", 2, "first", alerts.Queued, "no answer") // given up stays given up
	d.Attempts = 1
	want("d", d)
	try("d", 3, "first", alerts.Delivered, "200") // unless it got through
	d.Attempts, d.State, d.Last, d.Done, d.Phone = 2, alerts.Delivered, "200", night.Add(3*time.Minute), "first"
	want("d", d)

	long := strings.Repeat("träge ", 200)
	try("d", 4, "first", alerts.Delivered, long)
	got, err := l.Attempts(t.Context(), "d")
	if last := got[len(got)-1].Detail; err != nil || len(last) > maxDetail || !utf8.ValidString(last) || !strings.HasPrefix(long, last) {
		t.Errorf("detail of %d bytes, %v: %q", len(last), err, last)
	}
	if err := l.Attempted(t.Context(), "z", alerts.Attempt{Outcome: alerts.Failed}); !errors.Is(err, ErrUnknown) {
		t.Errorf("unknown call: %v", err)
	}
	if err := l.Attempted(t.Context(), "c", alerts.Attempt{Outcome: "lost"}); err == nil || !strings.Contains(err.Error(), `"lost"`) {
		t.Errorf("unknown outcome: %v", err)
	}
	if got, err := l.Attempts(t.Context(), "z"); err != nil || len(got) != 0 {
		t.Errorf("attempts at nothing: %v, %v", got, err)
	}
}

// A damaged row is named, and the others are there all the same.
func TestDamagedRows(t *testing.T) {
	for _, data := range []string{"{", "", "[]", `{"Attempts":"three"}`, `{"Queued":"yesterday"}`} {
		l, s := opened(t)
		commit(t, l, Decision{Alarms: []alerts.Alarm{alarm("a", "C07", 0, alerts.Unacknowledged), alarm("b", "C07", time.Minute, alerts.Unacknowledged)},
			Calls: []alerts.Call{call("c", 0, alerts.High), call("d", 0, alerts.Low)}})
		tamper(t, s, "update alarm set data = '{\"ID\": 3}' where id = 'b'; update call set data = '"+data+"' where id = 'c'")
		alarms, err := l.Alarms(t.Context(), Filter{Limit: 1})
		if alarmIDs(alarms) != "a" || err == nil || !strings.Contains(err.Error(), `alarm "b"`) {
			t.Errorf("alarms: %q, %v", alarmIDs(alarms), err)
		}
		calls, err := l.Calls(t.Context(), 0)
		if callIDs(calls) != "d" || err == nil || !strings.Contains(err.Error(), `call "c"`) {
			t.Errorf("calls: %q, %v", callIDs(calls), err)
		}
		if due, err := l.Due(t.Context(), night.Add(time.Hour), 1); callIDs(due) != "d" || err != nil {
			t.Errorf("due: %q, %v", callIDs(due), err)
		}
		for name, f := range map[string]func() error{
			"Alarm": func() error { _, err := l.Alarm(t.Context(), "b"); return err },
			"Call":  func() error { _, err := l.Call(t.Context(), "c"); return err },
			"Attempted": func() error {
				return l.Attempted(t.Context(), "c", alerts.Attempt{Outcome: alerts.Delivered})
			},
			"Due": func() error { // the damaged one is alone now
				err := l.Attempted(t.Context(), "d", alerts.Attempt{Outcome: alerts.Delivered})
				_, dueErr := l.Due(t.Context(), night.Add(time.Hour), 1)
				return errors.Join(err, dueErr)
			},
		} {
			if err := f(); err == nil || !strings.Contains(err.Error(), `"b"`) && !strings.Contains(err.Error(), `"c"`) {
				t.Errorf("%s of a damaged row gives %v", name, err)
			}
		}
	}
}
