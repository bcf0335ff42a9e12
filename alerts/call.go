package alerts

import (
	"slices"
	"strconv"
	"time"
)

// How long a call is worth delivering. A trouble that is twelve hours old has
// been seen by the people of the morning; that something is over is worth
// knowing for a while only.
const (
	RaisedExpires  = 12 * time.Hour
	ClearedExpires = 2 * time.Hour
)

// NewCall makes the call of that kind that tells of alarms, at least one, the
// first to come first. decided is a time of the room; wall, by the wall clock,
// is when the call is queued, and its first attempt is due at once. Link is
// left to the caller.
//
// The id is derived from the room, the kind and the alarms as they were
// raised: deciding the same again after a crash makes the same call, and a
// receiver that remembers ids rings once. So an alarm that resumes and clears
// several times tells of that once.
func NewCall(room, kind string, alarms []Alarm, text, body string, decided, wall time.Time) Call {
	c := Call{
		ID: callID(room, kind, alarms), Room: room, Kind: kind, Text: text, Body: body,
		Decided: decided, Queued: wall, Next: wall, Expires: wall.Add(RaisedExpires), State: Queued,
	}
	if kind == KindCleared {
		c.Expires = wall.Add(ClearedExpires)
	}
	for i, a := range alarms {
		c.Alarms = append(c.Alarms, a.ID)
		if i == 0 {
			c.Vessel, c.Lot, c.Class, c.Prio = a.Vessel, a.Finding.Lot, a.Class, a.Priority
		}
		c.Prio = higher(c.Prio, a.Priority)
	}
	return c
}

// callID holds no dot, as Standard Webhooks 1.0.0 asks of an id.
func callID(room, kind string, alarms []Alarm) string {
	var told []string
	for _, a := range alarms {
		told = append(told, a.ID+"@"+strconv.FormatInt(a.Raised.UnixMilli(), 10))
	}
	slices.Sort(told) // the same alarms in another order are the same call
	return "call_" + derive(append([]string{room, kind}, told...)...)
}

// higher returns the more urgent of two priorities; one that is none of the
// three loses.
func higher(a, b Priority) Priority {
	order := []Priority{Low, Medium, High}
	if slices.Index(order, b) > slices.Index(order, a) {
		return b
	}
	return a
}
