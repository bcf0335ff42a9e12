package alerts

import (
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

var (
	key  = analysis.Key{Vessel: "C07", Class: analysis.Airflow}
	t0   = time.Date(2025, 11, 24, 1, 15, 0, 0, time.UTC)
	rule = Rule{OnDelay: 3 * time.Minute, Staffed: 20 * time.Minute, OffDelay: 5 * time.Minute,
		ReAlarm: time.Hour, Priority: High, Calls: true}
)

const ms = time.Millisecond

func finding() *analysis.Finding {
	return &analysis.Finding{Key: key, Lot: "L23", Since: t0, Seen: t0, What: "Air stopped, 0.1 of 4.5 L/min"}
}

// in returns an alarm of key in state s, raised at t0 and, where it has
// cleared, clear since t0 plus one minute.
func in(s State) Alarm {
	a := Alarm{ID: "first", Key: key, State: s, Priority: High, Raised: t0}
	switch s {
	case Normal:
		a.Ended = t0.Add(time.Minute)
	case Returned:
		a.Clear = t0.Add(time.Minute)
	case Acknowledged:
		a.AckedAt, a.AckedBy = t0, "night watch"
	}
	return a
}

// The transitions are those of the state diagram of ANSI/ISA-18.2-2016 (from
// memory), and the end by time that Lapse explains. Shelved, suppressed and
// out of service are left by people only.
func TestEveryStateAndEvent(t *testing.T) {
	short, long := t0.Add(2*time.Minute), t0.Add(time.Minute+Lapse)
	zero := Rule{ReAlarm: time.Hour, Priority: Medium}
	events := []struct {
		name string
		do   func(Alarm) (Alarm, Change)
	}{
		{"finding, delay over", func(a Alarm) (Alarm, Change) { return Step(a, finding(), short, false, zero) }},
		{"finding, delay not over", func(a Alarm) (Alarm, Change) { return Step(a, finding(), short, false, rule) }},
		{"finding, after the re-alarm time", func(a Alarm) (Alarm, Change) { return Step(a, finding(), long, false, zero) }},
		{"none, delay over", func(a Alarm) (Alarm, Change) { return Step(a, nil, short, false, zero) }},
		{"none, delay not over", func(a Alarm) (Alarm, Change) { return Step(a, nil, short, false, rule) }},
		{"none, long after", func(a Alarm) (Alarm, Change) { return Step(a, nil, long, false, zero) }},
		{"acknowledged", func(a Alarm) (Alarm, Change) { return Acknowledge(a, "night watch", short) }},
	}
	type want struct {
		state  State
		change Change
	}
	stays := func(s State) []want {
		return []want{{s, None}, {s, None}, {s, None}, {s, None}, {s, None}, {s, None}, {s, None}}
	}
	table := map[State][]want{
		Normal: {{Unacknowledged, Raised}, {Normal, None}, {Unacknowledged, Raised},
			{Normal, None}, {Normal, None}, {Normal, None}, {Normal, None}},
		Unacknowledged: {{Unacknowledged, None}, {Unacknowledged, None}, {Unacknowledged, None},
			{Returned, Cleared}, {Unacknowledged, None}, {Returned, Cleared}, {Acknowledged, AckedByHand}},
		Acknowledged: {{Acknowledged, None}, {Acknowledged, None}, {Acknowledged, None},
			{Normal, Cleared}, {Acknowledged, None}, {Normal, Cleared}, {Acknowledged, None}},
		Returned: {{Unacknowledged, Resumed}, {Returned, None}, {Unacknowledged, Reraised},
			{Returned, None}, {Returned, None}, {Normal, EndedUnacked}, {Normal, AckedByHand}},
		Shelved:      stays(Shelved),
		Suppressed:   stays(Suppressed),
		OutOfService: stays(OutOfService),
	}
	for _, s := range States {
		if len(table[s]) != len(events) {
			t.Errorf("%s: the table answers %d of %d events", s, len(table[s]), len(events))
			continue
		}
		for i, e := range events {
			got, change := e.do(in(s))
			if w := table[s][i]; got.State != w.state || change != w.change {
				t.Errorf("%s, %s: got %s, change %q; want %s, %q", s, e.name, got.State, change, w.state, w.change)
			}
		}
	}
}

// Each delay from both sides: one millisecond before, at, and after its end.
func TestBoundaries(t *testing.T) {
	waiting := Alarm{Key: key, State: Normal, Pending: t0}
	back := in(Returned)
	clearing, ackedClearing := in(Unacknowledged), in(Acknowledged)
	clearing.Clear, ackedClearing.Clear = t0, t0
	atOnce := rule
	atOnce.OnDelay = 0
	for _, c := range []struct {
		name    string
		alarm   Alarm
		finding *analysis.Finding
		from    time.Time
		staffed bool
		rule    Rule
		delay   time.Duration
		before  Change
		then    Change
	}{
		{"on-delay, house empty", waiting, finding(), t0, false, rule, rule.OnDelay, None, Raised},
		{"on-delay, staffed", waiting, finding(), t0, true, rule, rule.Staffed, None, Raised},
		{"off-delay", clearing, nil, t0, false, rule, rule.OffDelay, None, Cleared},
		{"off-delay, acknowledged", ackedClearing, nil, t0, true, rule, rule.OffDelay, None, Cleared},
		{"re-alarm time", back, finding(), back.Clear, false, atOnce, rule.ReAlarm, Resumed, Reraised},
		{"lapse", back, nil, back.Clear, false, rule, Lapse, None, EndedUnacked},
	} {
		for _, side := range []struct {
			off  time.Duration
			want Change
		}{{-ms, c.before}, {0, c.then}, {ms, c.then}} {
			if _, got := Step(c.alarm, c.finding, c.from.Add(c.delay+side.off), c.staffed, c.rule); got != side.want {
				t.Errorf("%s, %v from its end: change %q, want %q", c.name, side.off, got, side.want)
			}
		}
	}
}

// Trouble in the surroundings waits from when it began, as far as the judge can
// tell, and not from the reading that made it sure; a sensor's, whose silence
// has been waited for, and what began long ago, do not.
func TestOnDelayCountsFromTheBeginning(t *testing.T) {
	for _, c := range []struct {
		class analysis.Class
		begun time.Duration // before it was found
		after time.Duration // that it is raised, from when it was found
	}{
		{analysis.Airflow, 0, rule.OnDelay},
		{analysis.Airflow, 2 * time.Minute, rule.OnDelay - 2*time.Minute},
		{analysis.Airflow, 20 * time.Minute, 0},
		{analysis.Airflow, begunMost, rule.OnDelay},
		{analysis.Sensor, 2 * time.Minute, rule.OnDelay},
	} {
		f := finding()
		f.Class, f.Since = c.class, t0.Add(-c.begun)
		a, change := Step(Alarm{}, f, t0, false, rule)
		if c.after == 0 {
			if change != Raised {
				t.Errorf("%s begun %v before: %q at once", c.class, c.begun, change)
			}
			continue
		}
		if _, got := Step(a, f, t0.Add(c.after-ms), false, rule); got != None {
			t.Errorf("%s begun %v before: %q before %v", c.class, c.begun, got, c.after)
		}
		if _, got := Step(a, f, t0.Add(c.after), false, rule); got != Raised {
			t.Errorf("%s begun %v before: %q after %v", c.class, c.begun, got, c.after)
		}
	}
}

func TestOnDelayStartsAnewAfterAGap(t *testing.T) {
	a, _ := Step(Alarm{}, finding(), t0, false, rule)
	a, _ = Step(a, nil, t0.Add(2*time.Minute), false, rule)
	again := finding()
	again.Since = t0.Add(150 * time.Second) // as the judge has it
	a, _ = Step(a, again, t0.Add(150*time.Second), false, rule)
	if _, got := Step(a, again, t0.Add(5*time.Minute), false, rule); got != None {
		t.Errorf("raised 2.5 min after the finding came back: change %q", got)
	}
	if _, got := Step(a, again, t0.Add(330*time.Second), false, rule); got != Raised {
		t.Errorf("3 min after the finding came back: change %q, want %q", got, Raised)
	}
}

func TestHouseEmptiesWhileAFindingWaits(t *testing.T) {
	a, got := Step(Alarm{}, finding(), t0, true, rule)
	a, _ = Step(a, finding(), t0.Add(4*time.Minute), true, rule)
	if got != None || a.State != Normal {
		t.Fatalf("raised within the staffed delay: %q, %s", got, a.State)
	}
	// The last transfer of the day is no alarm because the clock struck; air
	// that the last one out forgot is one when the wait is over.
	a, got = Step(a, finding(), t0.Add(5*time.Minute), false, rule)
	if got != None {
		t.Errorf("the wait of staffed hours was cut short: change %q", got)
	}
	if _, got = Step(a, finding(), t0.Add(rule.Staffed), false, rule); got != Raised {
		t.Errorf("the last one out left the air shut: change %q, want %q", got, Raised)
	}
}

// An alarm does not end by time under a finding that waits out its on-delay:
// it would come back as a second one.
func TestNoLapseUnderAFinding(t *testing.T) {
	a := in(Returned)
	if b, got := Step(a, finding(), a.Clear.Add(Lapse), false, rule); got != None || b.State != Returned {
		t.Errorf("change %q, %s", got, b.State)
	}
}

func TestAClockSetBackChangesNothing(t *testing.T) {
	for _, s := range States {
		a := in(s)
		for _, f := range []*analysis.Finding{finding(), nil} {
			if s == Shelved || s == Suppressed || s == OutOfService {
				continue // they change nothing at any time
			}
			got, change := Step(a, f, t0.Add(-ms), false, Rule{})
			if change != None || got.State != a.State || !got.Clear.Equal(a.Clear) || !got.Pending.Equal(a.Pending) {
				t.Errorf("%s, finding %v, a step back in time: %q, %+v", s, f != nil, change, got)
			}
		}
	}
}

func TestAFindingOfAnotherKeyChangesNothing(t *testing.T) {
	other := finding()
	other.Vessel = "C08"
	if got, change := Step(in(Normal), other, t0.Add(time.Hour), false, Rule{}); change != None || got.Vessel != "C07" {
		t.Errorf("got %q for %s", change, got.Vessel)
	}
}

func TestWhatARaisedAlarmHolds(t *testing.T) {
	old := in(Normal)
	old.AckedBy, old.AckedAt, old.CallID = "somebody", t0, "old"
	now := t0.Add(time.Hour)
	a, _ := Step(old, finding(), now, false, Rule{Priority: Medium})
	if a.ID == "first" || len(a.ID) != 32 || a.Priority != Medium || !a.Raised.Equal(now) || a.Finding.Lot != "L23" {
		t.Errorf("raised: %+v", a)
	}
	if a.AckedBy != "" || !a.AckedAt.IsZero() || a.CallID != "" || !a.Ended.IsZero() || !a.Pending.IsZero() {
		t.Errorf("something of the alarm before is left: %+v", a)
	}
	if again, _ := Step(old, finding(), now, true, Rule{Priority: Medium}); again.ID != a.ID {
		t.Errorf("a replay made another id: %s, %s", again.ID, a.ID)
	}
}

func TestReraisedKeepsItsIDAndMakesAnotherCall(t *testing.T) {
	a := in(Returned)
	before := NewCall("room", KindRaised, []Alarm{a}, "", "", t0, t0)
	b, change := Step(a, finding(), a.Clear.Add(time.Hour), false, Rule{ReAlarm: time.Hour})
	if change != Reraised || b.ID != a.ID {
		t.Fatalf("change %q, id %q", change, b.ID)
	}
	if after := NewCall("room", KindRaised, []Alarm{b}, "", "", t0, t0); after.ID == before.ID {
		t.Error("the second call has the id of the first: a receiver would drop it")
	}
}

func TestAcknowledge(t *testing.T) {
	a, _ := Acknowledge(in(Unacknowledged), "first", t0.Add(time.Minute))
	b, change := Acknowledge(a, "second", t0.Add(2*time.Minute))
	if change != None || b.AckedBy != "first" || !b.AckedAt.Equal(t0.Add(time.Minute)) {
		t.Errorf("acknowledged twice: %q, %+v", change, b)
	}
	early, _ := Acknowledge(in(Unacknowledged), "x", t0.Add(-time.Hour))
	if !early.AckedAt.Equal(t0) {
		t.Errorf("acknowledged at %v, before it was raised", early.AckedAt)
	}
	gone, _ := Acknowledge(in(Returned), "x", t0.Add(-time.Hour))
	if !gone.Ended.Equal(t0.Add(time.Minute)) || !gone.Clear.IsZero() {
		t.Errorf("ended at %v, before it cleared", gone.Ended)
	}
}
