package alerts

import (
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Rule says how long a finding must stand before it is an alarm, how long it
// must be gone before the alarm is over, and whether anybody is called.
//
// On-delay and off-delay are meant as in OPC UA Part 9, B.1.5: the first
// where brief excursions need nobody, the second where chatter must not
// announce itself again. The judge has waited for its evidence already; the
// delays here wait out handling and short excursions.
type Rule struct {
	OnDelay  time.Duration // with the house empty; zero raises at once
	Staffed  time.Duration // the on-delay in staffed hours; never shorter than OnDelay
	OffDelay time.Duration // zero clears at the first step without the finding
	// ReAlarm is how long after clearing the same trouble may come back
	// without a second call. At most Lapse.
	ReAlarm  time.Duration
	Priority Priority
	Calls    bool // whether a phone rings
}

// Lapse is how long after clearing an alarm that nobody acknowledged ends by
// itself. ISA-18.2 would keep it until somebody acknowledges; here nobody may
// ever do so, and a list of old troubles would hide the new one. It is as
// long as the house stays empty, so that the first person in still sees it.
const Lapse = 14 * time.Hour

// Wait returns the on-delay that holds now.
func (r Rule) Wait(staffed bool) time.Duration {
	if staffed {
		return max(r.OnDelay, r.Staffed)
	}
	return r.OnDelay
}

// RuleLine is one line of the table of rules.
type RuleLine struct {
	Class    analysis.Class
	Quantity unit.Quantity // zero: every quantity without a line of its own
	Rule
}

// Rules is the table of rules. A reason stands beside every delay.
var Rules = []RuleLine{
	{Class: analysis.Crash, Rule: Rule{
		// Every minute costs cells, and no handling looks like this for long:
		// the judge has ruled it out.
		OnDelay: 0, Staffed: 0,
		// A dying culture pauses when the light comes on or settled cells are
		// stirred up; half an hour of that is no recovery.
		OffDelay: 30 * time.Minute,
		ReAlarm:  6 * time.Hour, // whoever was called has looked by then
		Priority: High, Calls: true,
	}},
	{Class: analysis.Stall, Rule: Rule{
		// Half a day of readings stands behind the finding already.
		OnDelay: 0, Staffed: 0,
		// Growth is judged over hours: what has not been gone for a quarter of
		// a day may be the same stall seen through noise.
		OffDelay: 6 * time.Hour,
		ReAlarm:  12 * time.Hour, // once a night is enough: nothing dies within hours
		Priority: Medium, Calls: true,
	}},
	{Class: analysis.Contaminated, Rule: Rule{
		// It has already seeded others if the donor is used in the morning.
		OnDelay: 0, Staffed: 0,
		OffDelay: 2 * time.Hour,  // a bloom has waves; it does not go away in minutes
		ReAlarm:  12 * time.Hour, // the answer is a microscope, once
		Priority: High, Calls: true,
	}},
	{Class: analysis.Light, Rule: Rule{
		OnDelay: 3 * time.Minute, // a dip of the mains, a lamp that strikes again
		// A lamp is switched off to see a culture against the window, or moved.
		Staffed:  10 * time.Minute,
		OffDelay: 10 * time.Minute, // a failing lamp flickers
		ReAlarm:  2 * time.Hour,    // a loose contact; after that somebody thought it was mended
		Priority: Medium, Calls: true,
	}},
	{Class: analysis.Temperature, Rule: Rule{
		OnDelay: 10 * time.Minute, // ten litres do not warm in minutes: a door, a draught
		// A filled, topped-up or newly moved vessel needs a while to reach the
		// temperature of the room.
		Staffed:  30 * time.Minute,
		OffDelay: 20 * time.Minute, // a chiller that cycles crosses the edge of the band each time
		ReAlarm:  4 * time.Hour,    // time for a room to be brought back and to fail again
		Priority: Medium, Calls: true,
	}},
	{Class: analysis.Airflow, Rule: Rule{
		OnDelay: 3 * time.Minute, // a pump that restarts after a dip of the mains
		// Air is shut for minutes in every transfer.
		Staffed:  20 * time.Minute,
		OffDelay: 5 * time.Minute, // a tube with water in it sputters
		ReAlarm:  time.Hour,       // somebody opened a clamp and went home; it slipped again
		Priority: High, Calls: true,
	}},
	sensorLine(unit.OD, Medium, true),          // without it the culture itself is unwatched
	sensorLine(unit.Temperature, Low, true),    // the room's other probes still watch
	sensorLine(unit.Light, Low, true),          // the same
	sensorLine(unit.Airflow, Medium, true),     // stopped air kills within hours and would go unseen
	sensorLine(unit.OD2, Low, false),           // a help to the judge, no more: by day
	sensorLine(unit.PH, Low, false),            // the same
	sensorLine(unit.Quantity(0), Medium, true), // the vessel is wholly silent
	{Class: analysis.Notice, Rule: Rule{
		// It is told by day, on the page; no response before morning, no alarm.
		OffDelay: time.Hour, // so that the list of the day does not jump about
		ReAlarm:  12 * time.Hour,
		Priority: Low, Calls: false,
	}},
}

// sensorLine is the rule of a sensor: whatever it measures, it drops out and
// is handled in the same ways.
func sensorLine(q unit.Quantity, p Priority, calls bool) RuleLine {
	return RuleLine{Class: analysis.Sensor, Quantity: q, Rule: Rule{
		OnDelay:  10 * time.Minute, // a device that restarts, a network that comes back
		Staffed:  30 * time.Minute, // a probe that is wiped, moved to another vessel or calibrated
		OffDelay: 15 * time.Minute, // a loose plug comes and goes
		ReAlarm:  12 * time.Hour,   // a sick probe is no reason to be woken twice in one night
		Priority: p, Calls: calls,
	}}
}

// RuleFor returns the rule of the findings of k: the line of its class and
// quantity, else the line of its class without a quantity, else a rule that
// raises at once, at low priority, and calls nobody.
func RuleFor(k analysis.Key) Rule {
	fallback := Rule{Priority: Low}
	for _, l := range Rules {
		if l.Class != k.Class {
			continue
		}
		if l.Quantity == k.Quantity {
			return l.Rule
		}
		if l.Quantity == 0 {
			fallback = l.Rule
		}
	}
	return fallback
}
