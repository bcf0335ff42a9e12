package simulate

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

func TestDemoNight(t *testing.T) {
	zone, err := time.LoadLocation("Atlantic/Azores")
	if err != nil {
		t.Fatal(err)
	}
	clock := func(day, hour, minute int) time.Time { return time.Date(2026, 1, day, hour, minute, 0, 0, zone) }
	for seed := range uint64(6) {
		plan := Demo(seed, clock(15, 20, 0))
		if !plan.Start.Equal(clock(10, 0, 0)) || !plan.End.Equal(clock(16, 9, 0)) {
			t.Fatalf("from %v to %v", plan.Start, plan.End)
		}
		room := New(plan, seed)
		air := map[bool][]float64{}
		for {
			readings, _, ok := room.Step()
			if !ok {
				break
			}
			for _, m := range readings {
				if m.Vessel == demoStill && m.Quantity == unit.Airflow && m.At.After(clock(16, 1, 30)) {
					off := m.At.After(clock(16, 1, 41)) && m.At.Before(clock(16, 4, 30))
					on := m.At.Before(clock(16, 1, 40)) || m.At.After(clock(16, 4, 32)) && m.At.Before(clock(16, 8, 0))
					if off != on {
						air[off] = append(air[off], m.Value)
					}
				}
			}
		}
		if len(air[true]) < 100 || slices.Max(air[true]) > 0.2 || slices.Min(air[false]) < 3 {
			t.Errorf("seed %d: air of %s is up to %.2f while off, down to %.2f while on", seed, demoStill, slices.Max(air[true]), slices.Min(air[false]))
		}
		checkDemoShelf(t, seed, room, plan, clock(15, 22, 15), clock(15, 23, 45))
	}
}

func checkDemoShelf(t *testing.T, seed uint64, room *Room, plan Plan, from, to time.Time) {
	t.Helper()
	for _, place := range plan.Places {
		tr, _ := room.Truth(place.Vessel.Name)
		switch place.Vessel.Name {
		case demoSpoilt:
			if bite := tr.Faults[0].Bite; bite.Before(from) || bite.After(to) {
				t.Errorf("seed %d: the grazers bite at %v", seed, bite)
			}
			if tr.Biomass > 0.75*tr.Healthy {
				t.Errorf("seed %d: in the morning %.0f %% of the cells are left", seed, 100*tr.Biomass/tr.Healthy)
			}
		case demoStill:
			if math.Abs(tr.Signal-tr.HealthySignal) > 0.05*tr.HealthySignal {
				t.Errorf("seed %d: %s has not come back: %.3f, healthy %.3f", seed, demoStill, tr.Signal, tr.HealthySignal)
			}
		default:
			if len(tr.Faults) != 0 || tr.Signal < 0.06 {
				t.Errorf("seed %d: %s: od %.3f, faults %v", seed, place.Vessel.Name, tr.Signal, tr.Faults)
			}
		}
	}
}

func TestSeasonDrawsItsFaults(t *testing.T) {
	plan := Season(1, monday, 200, 10, 0.25)
	if err := plan.Check(); err != nil {
		t.Fatal(err)
	}
	if n := len(plan.Faults); n < 30 || n > 70 {
		t.Errorf("%d faults in 200 vessels", n)
	}
	if n := len(Season(1, monday, 50, 10, 0).Faults); n != 0 {
		t.Errorf("%d faults at rate 0", n)
	}
	if n := len(Season(1, monday, 50, 10, 1).Faults); n != 50 {
		t.Errorf("%d faults at rate 1", n)
	}
	kinds := map[FaultKind]bool{}
	for _, f := range plan.Faults {
		kinds[f.Kind] = true
		if f.From.Before(plan.Start) || f.From.After(plan.End) {
			t.Errorf("%+v", f)
		}
	}
	if len(kinds) < 15 {
		t.Errorf("only %d kinds", len(kinds))
	}
}

// What the probes of a healthy season send must look like sensors of a room:
// finite, in their steps, od above a little less than nothing.
func TestSeasonReadingsArePlausible(t *testing.T) {
	plan := Season(7, monday, 6, 10, 0)
	r := play(plan, 7)
	bounds := map[ingest.Quantity][2]float64{unit.OD: {-0.1, 2}, unit.Temperature: {10, 36}, unit.Light: {0, 250}, unit.Airflow: {0, 10}}
	for _, m := range r.readings {
		if b := bounds[m.Quantity]; !(m.Value >= b[0] && m.Value <= b[1]) {
			t.Fatalf("%+v", m)
		}
		if m.Quantity == unit.Temperature && m.Value*16 != math.Trunc(m.Value*16) {
			t.Fatalf("%v degC is no step of the thermometer", m.Value)
		}
	}
	if n, want := float64(len(r.readings)), 6*10*720*4.; n < 0.95*want || n > 1.02*want {
		t.Errorf("%.0f of %.0f readings", n, want)
	}
}
