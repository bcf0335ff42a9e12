package simulate

import (
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

var monday = time.Date(2026, 2, 2, 0, 0, 0, 0, time.UTC)

// quiet is one vessel with a true probe, a lot that begins at once without
// much lag, nobody about and nothing lost.
func quiet(days int, faults ...Fault) Plan {
	v := ingest.Vessel{Name: "C01", VolumeL: 19, LightsOn: 6 * time.Hour, LightHours: 16 * time.Hour, LightShape: ingest.Square,
		ParUmol: 120, TempC: 22, AirLpm: 4, Interval: 10 * time.Minute}
	lot := ingest.Lot{Name: "L1", Strain: "tisochrysis-lutea", Medium: "f/2", Inoculated: monday, InoculumL: 2, HarvestOD: 0.3}
	return Plan{Start: monday, End: monday.AddDate(0, 0, days), Faults: faults,
		Places: []Place{{Vessel: v, Starts: []Start{{Lot: lot, LagH0: 0.01, Pace: 1}}}}}
}

// run plays a plan to its end and gathers what came, and the truth at every
// step of the first vessel.
type run struct {
	room     *Room
	readings []ingest.Reading
	entries  []ingest.Entry
	truth    []Truth
}

func play(plan Plan, seed uint64) *run {
	r := &run{room: New(plan, seed)}
	for {
		readings, entries, ok := r.room.Step()
		if !ok {
			return r
		}
		r.readings = append(r.readings, readings...)
		r.entries = append(r.entries, entries...)
		truth, _ := r.room.Truth(plan.Places[0].Vessel.Name)
		r.truth = append(r.truth, truth)
	}
}

// at returns the truth at a time after monday.
func (r *run) at(after time.Duration) Truth {
	i := slices.IndexFunc(r.truth, func(t Truth) bool { return !t.At.Before(monday.Add(after)) })
	return r.truth[i]
}

// values returns what was measured of one quantity between two times after monday.
func (r *run) values(q ingest.Quantity, from, to time.Duration) []float64 {
	var all []float64
	for _, m := range r.readings {
		if m.Quantity == q && !m.At.Before(monday.Add(from)) && m.At.Before(monday.Add(to)) {
			all = append(all, m.Value)
		}
	}
	return all
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

func digest(r *run) uint64 {
	h := fnv.New64a()
	for _, m := range r.readings {
		fmt.Fprintln(h, m.Vessel, m.Quantity, math.Float64bits(m.Value), m.At.UnixNano())
	}
	for _, e := range r.entries {
		fmt.Fprintln(h, e.ID())
	}
	return h.Sum64()
}

func TestSameSeedSameRoom(t *testing.T) {
	plan := func(seed uint64) Plan { return Season(seed, monday, 3, 4, 1) }
	first := digest(play(plan(1), 1))
	if again := digest(play(plan(1), 1)); again != first {
		t.Error("the same seed gave another room")
	}
	if other := digest(play(plan(1), 2)); other == first {
		t.Error("another seed gave the same room")
	}
}

func TestFaultTouchesNothingElse(t *testing.T) {
	of := func(r *run, vessel string) *run {
		return &run{readings: slices.DeleteFunc(slices.Clone(r.readings), func(m ingest.Reading) bool { return m.Vessel != vessel })}
	}
	plan := Season(3, monday, 2, 4, 0)
	well := play(plan, 5)
	onset := monday.AddDate(0, 0, 3)
	for _, kind := range FaultKinds() {
		plan.Faults = []Fault{{Kind: kind, Vessel: "V01", From: onset}}
		sick := play(plan, 5)
		if digest(of(sick, "V02")) != digest(of(well, "V02")) {
			t.Errorf("%s of V01 changed V02", kind)
		}
		if digest(of(sick, "V01")) == digest(of(well, "V01")) {
			t.Errorf("%s changed nothing", kind)
		}
		before := func(r *run) *run {
			return &run{readings: slices.DeleteFunc(of(r, "V01").readings, func(m ingest.Reading) bool { return !m.At.Before(onset.Add(-time.Minute)) })}
		}
		if digest(before(sick)) != digest(before(well)) {
			t.Errorf("%s changed what was before it", kind)
		}
	}
}

// A healthy lot at its best must grow as feed cultures do: doubling in half a
// day to three days, and never faster than anything can at its temperature.
func TestHealthyGrowthIsWithinTheLiterature(t *testing.T) {
	for _, s := range Strains() {
		plan := quiet(3)
		plan.Places[0].Starts[0].Lot.Strain = s.Name
		r := play(plan, 1)
		mu := math.Log(r.at(48*time.Hour).Biomass / r.at(24*time.Hour).Biomass)
		if doubling := math.Ln2 / mu; !(doubling > 0.5 && doubling < 3) {
			t.Errorf("%s doubles in %.2f days", s.Name, doubling)
		}
		for i := 60; i < len(r.truth); i++ {
			before, now := r.truth[i-60], r.truth[i]
			if hour := 24 * math.Log(now.Biomass/before.Biomass); hour > bissinger(now.TempC) {
				t.Fatalf("%s grows at %.2f 1/d at %.1f degC", s.Name, hour, now.TempC)
			}
		}
	}
}

func TestGrowthEndsWhereLightAndFoodEnd(t *testing.T) {
	r := play(quiet(20), 1)
	early := math.Log(r.at(72*time.Hour).Biomass / r.at(48*time.Hour).Biomass)
	late := math.Log(r.at(19*24*time.Hour).Biomass / r.at(18*24*time.Hour).Biomass)
	if late > early/4 {
		t.Errorf("at the end it grows at %.3f 1/d, in its best days at %.3f", late, early)
	}
	// f/2 holds 12.36 mg N/L; at 3 % nitrogen that is 0.41 g dry weight per litre at most.
	if most := r.at(19 * 24 * time.Hour).Biomass; most > 0.41 || most < 0.08 {
		t.Errorf("it ends at %.3f g/L", most)
	}
}

// Edmundson & Huesemann 2015, Algal Res. 12:470-476: 1 to 22 % of the biomass
// in a night of 10 h.
func TestNightLossIsWithinTheLiterature(t *testing.T) {
	for seed := range uint64(5) {
		plan := quiet(5)
		plan.Places[0].Vessel.LightHours = 14 * time.Hour // dark from 20:00 to 06:00
		plan.Places[0].Starts[0].Pace = 0                 // drawn, as the rest
		r := play(plan, seed)
		for night := 1; night <= 3; night++ {
			evening, morning := r.at(time.Duration(24*night+20)*time.Hour), r.at(time.Duration(24*night+30)*time.Hour)
			if loss := 1 - morning.Biomass/evening.Biomass; loss < 0.01 || loss > 0.22 {
				t.Errorf("seed %d: in night %d it loses %.1f %%", seed, night, 100*loss)
			}
		}
	}
}

func TestLotsDifferAsSistersDo(t *testing.T) {
	var rates []float64
	for seed := range uint64(40) {
		plan := quiet(3)
		plan.Places[0].Starts[0].Pace = 0
		r := play(plan, seed)
		rates = append(rates, math.Log(r.at(60*time.Hour).Biomass/r.at(36*time.Hour).Biomass))
	}
	m, sq := mean(rates), 0.0
	for _, v := range rates {
		sq += (v - m) * (v - m)
	}
	if cv := math.Sqrt(sq/float64(len(rates)-1)) / m; cv < 0.07 || cv > 0.25 {
		t.Errorf("the rates of lots differ by %.0f %%", 100*cv)
	}
}

func TestLagDelays(t *testing.T) {
	long, short := quiet(4), quiet(4)
	long.Places[0].Starts[0].LagH0 = 1.5
	a, b := play(long, 1).at(40*time.Hour), play(short, 1).at(40*time.Hour)
	if a.Biomass > 0.7*b.Biomass {
		t.Errorf("with a lag %.3f g/L, without %.3f", a.Biomass, b.Biomass)
	}
}

// Under strong light a healthy lot may lose cells in its first days; it must recover.
func TestStrongLightCostsCellsAtFirst(t *testing.T) {
	plan := quiet(8)
	plan.Places[0].Vessel.ParUmol = 600
	plan.Places[0].Starts[0].LagH0 = 2
	r := play(plan, 1)
	start, least := r.at(2*time.Minute).Biomass, math.Inf(1)
	for _, tr := range r.truth[1 : 3*minutesPerDay] {
		least = min(least, tr.Biomass)
	}
	if least > 0.9*start || least < 0.5*start {
		t.Errorf("of %.4f g/L at least %.4f are left", start, least)
	}
	if end := r.at(7 * 24 * time.Hour).Biomass; end < 2*start {
		t.Errorf("after a week %.4f g/L", end)
	}
}

func TestStandingMediumShowsTheBlank(t *testing.T) {
	plan := quiet(2)
	plan.Places[0].Probe.Blank = 0.02
	plan.Places[0].Starts[0].Lot.Inoculated = monday.Add(30 * time.Hour)
	r := play(plan, 1)
	for _, od := range r.values(unit.OD, 0, 30*time.Hour) {
		near(t, "od of the medium", od, 0.02, 1e-9)
	}
	if lot := r.at(29 * time.Hour).Lot; lot != "" {
		t.Errorf("lot %s before its time", lot)
	}
	if od := mean(r.values(unit.OD, 31*time.Hour, 32*time.Hour)); od < 0.05 {
		t.Errorf("after the start od is %.3f", od)
	}
	if len(r.entries) != 1 || r.entries[0].Kind != ingest.Inoculate || r.entries[0].Str("lot") != "L1" || !r.entries[0].At.Equal(monday.Add(30*time.Hour)) {
		t.Errorf("entries %+v", r.entries)
	}
}

func TestReadingsComeWhenDue(t *testing.T) {
	r := play(quiet(1), 1)
	var last time.Time
	for _, m := range r.readings {
		if m.Quantity != unit.OD {
			continue
		}
		if !last.IsZero() && m.At.Sub(last) != 10*time.Minute {
			t.Fatalf("%v after %v", m.At, last)
		}
		last = m.At
	}
	if n := len(r.readings); n != 4*144 {
		t.Errorf("%d readings", n)
	}
}

func TestPlanCheck(t *testing.T) {
	good := Demo(1, monday)
	if err := good.Check(); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(*Plan){
		"step":   func(p *Plan) { p.Step = time.Hour },
		"end":    func(p *Plan) { p.End = p.Start.Add(-1) },
		"twice":  func(p *Plan) { p.Places[1].Vessel.Name = "C01" },
		"kind":   func(p *Plan) { p.Faults[0].Kind = "ghost" },
		"vessel": func(p *Plan) { p.Faults[0].Vessel = "C99" },
		"act":    func(p *Plan) { p.Acts[0].Vessel = "C99" },
	} {
		plan := Demo(1, monday)
		spoil(&plan)
		if plan.Check() == nil {
			t.Errorf("%s: a plan that cannot be was taken", name)
		}
		room := New(plan, 1)
		for range 100 {
			room.Step() // and does not stop the room
		}
	}
}

func BenchmarkSeason(b *testing.B) {
	const vessels, days = 12, 10
	plan := Season(1, monday, vessels, days, 0.3)
	for b.Loop() {
		room := New(plan, 1)
		for _, _, ok := room.Step(); ok; {
			_, _, ok = room.Step()
		}
	}
	b.ReportMetric(vessels*days*float64(b.N)/b.Elapsed().Seconds(), "vessel-days/s")
}
