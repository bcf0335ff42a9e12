package alerts

import (
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// Step takes an alarm to now: f is the finding of its key as the judge sees
// it now, nil if it sees none. staffed says whether people are at the shelf.
// The zero Alarm, or one with only its key, is a normal one.
//
//	normal          finding for the on-delay  -> unacknowledged, Raised
//	active          greater for the on-delay  -> unacknowledged, Reraised
//	unacknowledged  none for the off-delay    -> returned, Cleared
//	acknowledged    none for the off-delay    -> normal, Cleared
//	returned        finding for the on-delay  -> unacknowledged, Resumed or,
//	                                             after the re-alarm time, Reraised
//	returned        Lapse after clearing      -> normal, EndedUnacked
//
// A delay is over at the very millisecond at which it has lasted its length.
// Shelved, suppressed and out of service alarms raise nothing; they keep the
// finding up to date. Step never looks at a clock, and a step to a time
// before what the alarm already knows, or with a finding of another key,
// changes nothing: a clock set back neither raises nor clears.
func Step(a Alarm, f *analysis.Finding, now time.Time, staffed bool, r Rule) (Alarm, Change) {
	if a.State == "" {
		a.State = Normal
	}
	if now.Before(a.latest()) || !a.concerns(f) {
		return a, None
	}
	if f != nil {
		a.Key, a.Finding = f.Key, *f
	}
	switch a.State {
	case Normal:
		return a.fromNormal(f != nil, now, staffed, r)
	case Unacknowledged, Acknowledged:
		return a.fromActive(f, now, staffed, r)
	case Returned:
		return a.fromReturned(f != nil, now, staffed, r)
	}
	a.Pending, a.Handling, a.Clear = time.Time{}, false, time.Time{}
	return a, None
}

// Acknowledge notes that a person has taken the alarm at now, a time of the
// room as in Step. Alarms that are neither active nor returned stay as they
// are. Acknowledging twice changes nothing: the first to take it is kept.
func Acknowledge(a Alarm, who string, now time.Time) (Alarm, Change) {
	switch a.State {
	case Unacknowledged:
		a.State = Acknowledged
	case Returned:
		a.State = Normal
		a.Ended = later(now, a.Clear)
		a.Clear = time.Time{}
	default:
		return a, None
	}
	// A person's clock may be behind the room's; nobody can take an alarm
	// before it was raised.
	a.AckedAt, a.AckedBy = later(now, a.Raised), who
	return a, AckedByHand
}

// concerns reports whether f, if it is one, is a finding of this alarm's key.
func (a Alarm) concerns(f *analysis.Finding) bool {
	return f == nil || a.Key == analysis.Key{} || a.Key == f.Key
}

// latest returns the last time that an earlier step wrote down. AckedAt is
// not among them: it comes from a person's clock.
func (a Alarm) latest() time.Time {
	return later(later(a.Pending, a.Clear), later(a.Raised, a.Ended))
}

func (a Alarm) fromNormal(seen bool, now time.Time, staffed bool, r Rule) (Alarm, Change) {
	if !a.held(seen, now, staffed, r) {
		return a, None
	}
	if !a.AckedAt.IsZero() && !a.Ended.IsZero() && now.Sub(a.Ended) < r.ReAlarm {
		// Somebody took it and it came back: they know of it.
		a.State, a.Pending, a.Handling, a.Ended = Unacknowledged, time.Time{}, false, time.Time{}
		return a, Resumed
	}
	a.ID = alarmID(a.Key, now)
	return a.raise(now, r), Raised
}

func (a Alarm) fromActive(f *analysis.Finding, now time.Time, staffed bool, r Rule) (Alarm, Change) {
	if f != nil {
		a.Clear = time.Time{}
		// Who took the lesser trouble has not heard of the greater one.
		if a.held(f.Grade > a.Grade, now, staffed, r) {
			return a.raise(now, r), Reraised
		}
		return a, None
	}
	a.Pending, a.Handling = time.Time{}, false
	if a.Clear.IsZero() {
		a.Clear = now
	}
	if now.Sub(a.Clear) < r.OffDelay {
		return a, None
	}
	if a.State == Acknowledged {
		a.State, a.Ended, a.Clear = Normal, now, time.Time{}
		return a, Cleared
	}
	a.State = Returned
	return a, Cleared
}

func (a Alarm) fromReturned(seen bool, now time.Time, staffed bool, r Rule) (Alarm, Change) {
	if a.held(seen, now, staffed, r) {
		if now.Sub(a.Clear) >= r.ReAlarm {
			return a.raise(now, r), Reraised
		}
		a.State, a.Pending, a.Handling, a.Clear = Unacknowledged, time.Time{}, false, time.Time{}
		return a, Resumed
	}
	// While a finding waits out its on-delay the trouble may be back: an
	// alarm that ended under it would come back as a second one.
	if !seen && now.Sub(a.Clear) >= Lapse {
		a.State, a.Ended, a.Clear = Normal, now, time.Time{}
		return a, EndedUnacked
	}
	return a, None
}

// held keeps Pending and reports whether the finding has stood for its wait:
// that of staffed hours if people are there or were when it began.
func (a *Alarm) held(seen bool, now time.Time, staffed bool, r Rule) bool {
	if !seen {
		a.Pending, a.Handling = time.Time{}, false
		return false
	}
	if a.Pending.IsZero() {
		a.Pending, a.Handling = now, staffed
		if begun := a.Finding.Since; a.Class.Surroundings() && begun.Before(now) && now.Sub(begun) < begunMost {
			a.Pending = begun // the judge needed a reading or two to see it
		}
	}
	return now.Sub(a.Pending) >= r.Wait(staffed || a.Handling)
}

// begunMost is how long ago trouble in the surroundings may have begun for its
// wait to count from there: what stood for longer before it was a finding has
// had another wait already.
const begunMost = 30 * time.Minute

// raise makes a an unacknowledged alarm that somebody must be told of.
func (a Alarm) raise(now time.Time, r Rule) Alarm {
	a.State, a.Priority, a.Raised, a.Grade = Unacknowledged, r.Priority, now, a.Finding.Grade
	a.Pending, a.Handling, a.Clear, a.Ended = time.Time{}, false, time.Time{}, time.Time{}
	a.AckedAt, a.AckedBy, a.CallID = time.Time{}, "", ""
	return a
}

// alarmID derives the id from what was raised and when, so that the same
// readings give the same id, live or replayed.
func alarmID(k analysis.Key, raised time.Time) string {
	return derive(k.Vessel, string(k.Class), k.Quantity.Field(), strconv.FormatInt(raised.UnixMilli(), 10))
}

// derive returns 32 hexadecimal digits taken from parts, in this order.
func derive(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		h.Write([]byte(strconv.Itoa(len(p)) + ":" + p)) // the length keeps "a","bc" from "ab","c"
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
