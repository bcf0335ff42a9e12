package alerts

import (
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

func TestEveryClassHasARule(t *testing.T) {
	seen := map[RuleLine]bool{}
	for _, l := range Rules {
		k := RuleLine{Class: l.Class, Quantity: l.Quantity}
		if seen[k] {
			t.Errorf("two rules for %s, %s", l.Class, l.Quantity)
		}
		seen[k] = true
		if l.Staffed != 0 && l.Staffed < l.OnDelay {
			t.Errorf("%s, %s: staffed wait %v is shorter than %v", l.Class, l.Quantity, l.Staffed, l.OnDelay)
		}
		if l.ReAlarm > Lapse || l.ReAlarm <= 0 || l.OffDelay <= 0 {
			t.Errorf("%s, %s: off-delay %v, re-alarm time %v", l.Class, l.Quantity, l.OffDelay, l.ReAlarm)
		}
	}
	for _, c := range analysis.Classes {
		if !seen[RuleLine{Class: c}] {
			t.Errorf("no rule for %s", c)
		}
	}
	for _, q := range unit.All {
		if !seen[RuleLine{Class: analysis.Sensor, Quantity: q}] {
			t.Errorf("no rule for a sensor of %s", q)
		}
	}
}

func TestRuleFor(t *testing.T) {
	air := RuleFor(analysis.Key{Vessel: "C07", Class: analysis.Airflow})
	if air.Priority != High || air.Wait(false) != 3*time.Minute || air.Wait(true) != 20*time.Minute {
		t.Errorf("airflow: %+v", air)
	}
	// A quantity that names no line of its own falls back to its class.
	if r := RuleFor(analysis.Key{Class: analysis.Crash, Quantity: unit.OD}); r.Priority != High || r.OffDelay != 30*time.Minute {
		t.Errorf("crash with a quantity: %+v", r)
	}
	if r := RuleFor(analysis.Key{Class: analysis.Sensor, Quantity: unit.PH}); r.Calls || r.Priority != Low {
		t.Errorf("pH sensor: %+v", r)
	}
	if RuleFor(analysis.Key{Class: analysis.Notice}).Calls {
		t.Error("a notice calls")
	}
	if r := RuleFor(analysis.Key{Class: "unheard of"}); r.Calls || r.Priority != Low {
		t.Errorf("unknown class: %+v", r)
	}
	if w := (Rule{OnDelay: time.Hour, Staffed: time.Minute}).Wait(true); w != time.Hour {
		t.Errorf("the staffed wait is shorter than the empty one: %v", w)
	}
}
