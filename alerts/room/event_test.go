package room

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
)

// shelfOf is a room of n vessels whose sensors each report at a time of their
// own, and their readings over so long a night.
func shelfOf(n int, length time.Duration, change func(i int) alter) (*Room, []ingest.Reading) {
	var names []string
	for i := range n {
		names = append(names, fmt.Sprintf("C%02d", i+1))
	}
	r := New(options(names...))
	var all []ingest.Reading
	for i, name := range names {
		r.Digest(entriesOnly(started(name, noon)), noon)
		all = append(all, stretch(name, noon, length, uint64(i)+20, change(i))...)
	}
	slices.SortStableFunc(all, func(a, b ingest.Reading) int { return a.At.Compare(b.At) })
	return r, all
}

func TestAirOfTheRoomIsOneCall(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	r, all := shelfOf(12, 16*time.Hour, func(int) alter { return airOff(off, off.Add(time.Hour)) })
	out := digest(r, all, 64)
	if n := len(raised(out)); n != 12 {
		t.Fatalf("%d vessels raised an alarm, want 12", n)
	}
	if len(out.Calls) != 1 {
		t.Fatalf("twelve vessels that lose their air in one minute made %d calls", len(out.Calls))
	}
	c := out.Calls[0]
	if !strings.Contains(c.Text, "vessels at once") {
		t.Errorf("the call says %q", c.Text)
	}
	for _, a := range out.Alarms {
		if a.CallID != c.ID {
			t.Errorf("the alarm of %s names the call %q, want %q", a.Vessel, a.CallID, c.ID)
		}
	}
	if wait := c.Decided.Sub(off); wait > 10*time.Minute {
		t.Errorf("decided %v after the air stopped", wait)
	}
}

// A lone trouble waits no longer than others would need to show.
func TestLoneAlarmWaitsTwoMinutes(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	r, all := shelfOf(1, 15*time.Hour, func(int) alter { return airOff(off, off.Add(time.Hour)) })
	var raisedAt, calledAt time.Time
	for _, x := range all {
		out := r.Digest(ingest.Batch{Readings: []ingest.Reading{x}}, noon)
		if len(out.Alarms) > 0 && raisedAt.IsZero() {
			raisedAt = r.Now()
		}
		if len(out.Calls) > 0 && calledAt.IsZero() {
			calledAt = r.Now()
		}
	}
	if d := calledAt.Sub(raisedAt); raisedAt.IsZero() || calledAt.IsZero() || d > 4*time.Minute { // and up to two for the next reading
		t.Errorf("raised %v, called %v", raisedAt, calledAt)
	}
}

// Two vessels are two calls: that may be chance. What fails elsewhere for
// another reason at the same time is told by itself.
func TestTwoAreNoEvent(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	r, all := shelfOf(4, 16*time.Hour, func(i int) alter {
		if i < 2 {
			return airOff(off, off.Add(time.Hour))
		}
		return nil
	})
	if out := digest(r, all, 64); len(out.Calls) != 2 {
		t.Errorf("two vessels without air made %d calls, want one each", len(out.Calls))
	}
}

// A vessel whose sensor is slow joins the event; one that loses its air an
// hour later does not.
func TestLatecomersJoin(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	r, all := shelfOf(6, 17*time.Hour, func(i int) alter {
		switch i {
		case 4:
			return airOff(off.Add(8*time.Minute), off.Add(2*time.Hour))
		case 5:
			return airOff(off.Add(time.Hour), off.Add(2*time.Hour))
		}
		return airOff(off, off.Add(2*time.Hour))
	})
	out := digest(r, all, 64)
	byVessel := map[string]string{}
	for _, a := range out.Alarms {
		byVessel[a.Vessel] = a.CallID
	}
	if len(out.Calls) != 2 || byVessel["C05"] != byVessel["C01"] || byVessel["C06"] == byVessel["C01"] || byVessel["C06"] == "" {
		t.Errorf("%d calls, alarms told by %v", len(out.Calls), byVessel)
	}
}

// However readings are parted into batches, and whenever the room is put down
// and taken up again, the calls are the same.
func TestEventsDoNotHangOnBatches(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	change := func(i int) alter { return airOff(off.Add(time.Duration(i)*40*time.Second), off.Add(time.Hour)) }
	ids := func(o Outcome) (out []string) {
		for _, c := range o.Calls {
			out = append(out, c.ID)
		}
		slices.Sort(out)
		return out
	}
	r, all := shelfOf(7, 16*time.Hour, change)
	want := ids(digest(r, all, 1))
	for _, size := range []int{5, 333, 5000} {
		r, _ := shelfOf(7, time.Minute, change)
		if got := ids(digest(r, all, size)); !slices.Equal(got, want) {
			t.Errorf("batches of %d: calls %v, want %v", size, got, want)
		}
	}
	broken, _ := shelfOf(7, time.Minute, change)
	var out Outcome
	dice := rand.New(rand.NewPCG(6, 6))
	for part := range slices.Chunk(all, 40) {
		out.add(broken.Digest(ingest.Batch{Readings: part}, noon))
		if dice.IntN(4) == 0 {
			snapshot, err := broken.Snapshot()
			if err != nil {
				t.Fatal(err)
			}
			next := New(broken.o)
			if err := next.Restore(snapshot); err != nil {
				t.Fatal(err)
			}
			broken = next
		}
	}
	if got := ids(out); !slices.Equal(got, want) {
		t.Errorf("put down and taken up: calls %v, want %v", got, want)
	}
}

// What was explained while it waited, and what another culture stands for by
// now, is no part of the call, and is not written down again as it was.
func TestSettledAlarmsAreNotToldInAGroup(t *testing.T) {
	names := []string{"C01", "C02", "C03", "C04", "C05"}
	r := New(options(names...))
	airOf := func(name string) analysis.Key { return analysis.Key{Vessel: name, Class: analysis.Airflow} }
	for i, name := range names {
		key := airOf(name)
		a := alerts.Alarm{ID: "of " + name, Key: key, Finding: analysis.Finding{Key: key}, State: alerts.Unacknowledged, Raised: noon}
		r.waiting = append(r.waiting, raise{At: noon.Add(time.Duration(i) * time.Second), Alarm: a})
		switch name {
		case "C02":
			a.Explained, a.Clear = "harvest: 7 L", noon.Add(time.Minute)
		case "C03":
			a.ID, a.State = "of the next in C03", alerts.Normal
		}
		r.vessels[name].alarms[key] = a
	}
	var s step
	calls := r.decide(noon.Add(gathers+time.Minute), noon, &s)
	if len(calls) != 1 || len(r.waiting) != 0 {
		t.Fatalf("%d calls, %d alarms still wait", len(calls), len(r.waiting))
	}
	var told []string
	for _, a := range s.alarms {
		told = append(told, a.ID)
	}
	if want := []string{"of C01", "of C04", "of C05"}; !slices.Equal(told, want) {
		t.Errorf("the call tells of %q, want %q", told, want)
	}
	if got := r.vessels["C03"].alarms[airOf("C03")]; got.CallID != "" || got.State != alerts.Normal {
		t.Errorf("the next alarm of C03 is %+v", got)
	}
}

// A room that is built again calls for what was raised and nobody was called
// for, and for nothing else.
func TestRecallCallsWhatNobodyWasCalledFor(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	r, all := shelfOf(1, 15*time.Hour, func(int) alter { return airOff(off, off.Add(time.Hour)) })
	var known alerts.Alarm
	var at time.Time
	for _, x := range all {
		if out := r.Digest(ingest.Batch{Readings: []ingest.Reading{x}}, noon); len(out.Alarms) > 0 && known.ID == "" {
			known, at = out.Alarms[0], r.Now()
		}
	}
	if known.CallID != "" {
		t.Fatal("called in the minute in which it was raised")
	}
	for _, called := range []string{"", "call_0"} {
		fresh := New(r.o)
		known.CallID = called
		fresh.Recall([]alerts.Alarm{known}, at)
		out := fresh.Advance(at.Add(10*time.Minute), noon)
		if want := 1 - min(len(called), 1); len(out.Calls) != want {
			t.Errorf("recalled with call %q: %d calls, want %d", called, len(out.Calls), want)
		}
	}
}

// In staffed hours air is shut for minutes in every transfer; what three
// vessels lose within two minutes is none, and waits no longer than at night.
func TestStaffedHoursAndTheWholeRoom(t *testing.T) {
	off := noon.Add(24*time.Hour + 2*time.Hour) // 14:00
	for _, c := range []struct {
		vessels int
		long    bool // whether it waits as long as handling does
	}{{2, true}, {3, false}, {6, false}} {
		r, all := shelfOf(c.vessels, 27*time.Hour, func(int) alter { return airOff(off, off.Add(time.Hour)) })
		out := digest(r, all, 64)
		if len(out.Alarms) != c.vessels {
			t.Fatalf("%d vessels: %d alarms", c.vessels, len(out.Alarms))
		}
		for _, a := range out.Alarms {
			if wait := a.Raised.Sub(off); wait > 15*time.Minute != c.long || wait > 30*time.Minute {
				t.Errorf("%d vessels, %s: raised after %v", c.vessels, a.Vessel, wait)
			}
		}
	}
}
