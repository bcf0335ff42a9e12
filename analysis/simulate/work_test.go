package simulate

import (
	"math"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

func act(kind ingest.Kind, after time.Duration, litres float64, refilled bool) Act {
	at := monday.Add(after)
	return Act{Vessel: "C01", Kind: kind, At: at, Litres: litres, Refilled: refilled, Written: at.Add(20 * time.Minute)}
}

func TestVolumeBalances(t *testing.T) {
	plan := Season(4, monday, 4, 10, 0.5)
	plan.Acts = []Act{{Vessel: "V01", Kind: ingest.Harvest, At: monday.AddDate(0, 0, 4), Litres: 3}}
	room := New(plan, 4)
	for {
		if _, _, ok := room.Step(); !ok {
			break
		}
		for _, place := range plan.Places {
			tr, _ := room.Truth(place.Vessel.Name)
			if left := tr.Flows.In - tr.Flows.Out - tr.Flows.Evaporated; math.Abs(left-tr.VolumeL) > 1e-9 || tr.VolumeL < 0 {
				t.Fatalf("%s at %v: %.6f L are there, %.6f L went in and did not go out", place.Vessel.Name, tr.At, tr.VolumeL, left)
			}
		}
	}
}

func TestHarvestDilutesByWhatWasTaken(t *testing.T) {
	plan := quiet(4)
	plan.Acts = []Act{act(ingest.Harvest, 60*time.Hour, 7.6, true), act(ingest.Harvest, 70*time.Hour, 5, false)}
	r := play(plan, 1)
	before, after := r.at(60*time.Hour-time.Minute), r.at(60*time.Hour+time.Minute)
	near(t, "refilled", after.Biomass/before.Biomass, 1-7.6/before.VolumeL, 0.005)
	near(t, "volume", after.VolumeL, before.VolumeL, 0.01)
	before, after = r.at(70*time.Hour-time.Minute), r.at(70*time.Hour+time.Minute)
	near(t, "not refilled", after.Biomass/before.Biomass, 1, 0.005)
	near(t, "volume drawn", after.VolumeL, before.VolumeL-5, 0.01)
	if n := len(r.entries); n != 3 {
		t.Fatalf("%d entries", n)
	}
	e := r.entries[1]
	if v, _ := e.Float("volume_l"); v != 7.6 || !e.Flag("refilled") || e.Written.Sub(e.At) != 20*time.Minute {
		t.Errorf("entry %+v", e)
	}
}

func TestAirIsShutInATransfer(t *testing.T) {
	plan := quiet(2)
	plan.Places[0].Vessel.Interval = time.Minute
	plan.Acts = []Act{act(ingest.Harvest, 30*time.Hour, 3, true)}
	r := play(plan, 1)
	air := r.values(unit.Airflow, 30*time.Hour, 30*time.Hour+airShut-time.Minute)
	for _, v := range air[1:] {
		near(t, "air in the transfer", v, 0, 0)
	}
	if back := mean(r.values(unit.Airflow, 30*time.Hour+10*time.Minute, 31*time.Hour)); back < 3.5 {
		t.Errorf("after it the air is %.1f", back)
	}
}

func TestEntriesComeWhenTheyAreWritten(t *testing.T) {
	plan := Season(2, monday, 12, 10, 0)
	plan.Keeper.Never = 0.2
	room := New(plan, 2)
	var seen, late int
	for {
		_, entries, ok := room.Step()
		if !ok {
			break
		}
		for _, e := range entries {
			seen++
			if e.Written.After(room.Now()) || e.Written.Before(room.Now().Add(-time.Minute)) {
				t.Errorf("at %v came what was written at %v", room.Now(), e.Written)
			}
			if e.Written.Sub(e.At) > 12*time.Hour {
				late++
			}
		}
	}
	never, harvests := 0, 0
	for _, a := range room.Acts() {
		if a.Written.IsZero() && a.Kind != ingest.Look {
			never++
		}
		if a.Kind == ingest.Harvest {
			harvests++
		}
		if hour := a.At.Hour(); hour < 8 || hour > 17 {
			t.Errorf("%s of %s at %v, when nobody is there", a.Kind, a.Vessel, a.At)
		}
	}
	if seen < 40 || late == 0 || never == 0 || harvests == 0 {
		t.Errorf("%d entries, %d the next morning, %d never, %d harvests", seen, late, never, harvests)
	}
}

func TestSecondLotFollowsTheFirst(t *testing.T) {
	plan := quiet(8)
	first := &plan.Places[0].Starts[0]
	first.Lot.Ended = monday.Add(80 * time.Hour)
	second := *first
	second.Lot.Name, second.Lot.Inoculated, second.Lot.Ended = "L2", monday.Add(130*time.Hour), time.Time{}
	plan.Places[0].Starts = append(plan.Places[0].Starts, second)
	plan.Faults = []Fault{{Kind: Lysis, Vessel: "C01", From: monday.Add(70 * time.Hour)}}
	r := play(plan, 1)
	if tr := r.at(100 * time.Hour); tr.Lot != "" || tr.VolumeL != 0 {
		t.Errorf("after its end: %+v", tr)
	}
	if tr := r.at(120 * time.Hour); tr.VolumeL < 18 {
		t.Errorf("%.1f L on the day before the start", tr.VolumeL)
	}
	if tr := r.at(180 * time.Hour); tr.Lot != "L2" || tr.Biomass < 0.9*tr.Healthy || tr.Faults[0].Cleared.IsZero() {
		t.Errorf("the second lot: %+v", tr)
	}
	var kinds []ingest.Kind
	for _, e := range r.entries {
		kinds = append(kinds, e.Kind)
	}
	want := []ingest.Kind{ingest.Inoculate, ingest.End, ingest.Fill, ingest.Inoculate}
	if len(kinds) != 4 || kinds[1] != want[1] || kinds[2] != want[2] || kinds[3] != want[3] {
		t.Errorf("entries %v, want %v", kinds, want)
	}
}

func TestDeliveryLosesRepeatsAndDelays(t *testing.T) {
	plan := quiet(10)
	plain := play(plan, 1)
	plan.Delivery = Delivery{Lost: 0.05, Repeated: 0.05, Late: 0.05, MaxLate: time.Hour, Gaps: 1, MaxGap: time.Hour}
	r := play(plan, 1)
	type key struct {
		at time.Time
		q  ingest.Quantity
	}
	times := map[key]int{}
	var newest time.Time
	late := 0
	for _, m := range r.readings {
		times[key{m.At, m.Quantity}]++
		if m.At.Before(newest) {
			late++
		}
		if m.At.After(newest) {
			newest = m.At
		}
	}
	repeated, known := 0, map[key]float64{}
	for _, m := range plain.readings {
		known[key{m.At, m.Quantity}] = m.Value
	}
	for k, n := range times {
		if _, ok := known[k]; !ok {
			t.Fatalf("a reading that was never measured: %+v", k)
		}
		if n > 1 {
			repeated++
		}
	}
	lost := 1 - float64(len(times))/float64(len(known))
	if lost < 0.03 || lost > 0.15 || repeated < len(times)/50 || late < len(times)/50 {
		t.Errorf("%.1f %% lost, %d of %d repeated, %d late", 100*lost, repeated, len(times), late)
	}
}
