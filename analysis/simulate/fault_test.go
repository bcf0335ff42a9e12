package simulate

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

const (
	onset   = 54 * time.Hour // six in the morning of the third day
	cleared = 60 * time.Hour
)

// struck plays six days with one fault, from onset to cleared or for good.
func struck(t *testing.T, kind FaultKind, forGood bool) *run {
	t.Helper()
	f := Fault{Kind: kind, Vessel: "C01", From: monday.Add(onset)}
	if !forGood {
		f.Until = monday.Add(cleared)
	}
	r := play(quiet(6, f), 1)
	end := r.truth[len(r.truth)-1]
	if len(end.Faults) != 1 || end.Faults[0].Kind != kind || end.Faults[0].Began.Sub(monday) != onset || end.Faults[0].Cleared.IsZero() != forGood {
		t.Fatalf("%s: the truth says %+v", kind, end.Faults)
	}
	if end.Faults[0].Bite.IsZero() {
		t.Fatalf("%s never showed", kind)
	}
	return r
}

// bite returns how long after its onset the fault first showed.
func (r *run) bite() time.Duration {
	s := r.truth[len(r.truth)-1].Faults[0]
	return s.Bite.Sub(s.Began)
}

func TestCellsSettleWithoutAirAndComeBack(t *testing.T) {
	for _, s := range Strains() {
		plan := quiet(6, Fault{Kind: AirOff, Vessel: "C01", From: monday.Add(onset), Until: monday.Add(onset + 3*time.Hour)})
		plan.Places[0].Starts[0].Lot.Strain = s.Name
		r := play(plan, 1)
		before, still, after := r.at(onset), r.at(onset+3*time.Hour-time.Minute), r.at(onset+4*time.Hour)
		if still.AirLpm != 0 || still.Signal > 0.85*before.Signal {
			t.Errorf("%s: air %.1f, od %.3f after three hours without it, before %.3f", s.Name, still.AirLpm, still.Signal, before.Signal)
		}
		if still.Biomass < 0.95*before.Biomass {
			t.Errorf("%s: cells died of still water", s.Name)
		}
		if after.Signal < 0.95*after.HealthySignal {
			t.Errorf("%s: od %.3f an hour after the air came back, %.3f without the fault", s.Name, after.Signal, after.HealthySignal)
		}
	}
}

func TestWeakAirSettlesLess(t *testing.T) {
	weak, off := struck(t, AirWeak, false), struck(t, AirOff, false)
	w, o := weak.at(cleared-time.Minute), off.at(cleared-time.Minute)
	if !(o.Signal < w.Signal && w.Signal < 0.99*w.HealthySignal) {
		t.Errorf("od without air %.3f, with weak air %.3f, with all of it %.3f", o.Signal, w.Signal, w.HealthySignal)
	}
	near(t, "weak air", w.AirLpm/4, 0.25, 0.05)
}

func TestNoBubblesWithoutAir(t *testing.T) {
	spikes := func(r *run, from, to time.Duration) (up, down int) {
		od := r.values(unit.OD, from, to)
		for i := 2; i+2 < len(od); i++ {
			around := slices.Sorted(slices.Values(od[i-2 : i+3]))
			if jump := od[i] - around[2]; jump > 0.01 {
				up++
			} else if jump < -0.01 {
				down++
			}
		}
		return up, down
	}
	plan := quiet(4, Fault{Kind: AirOff, Vessel: "C01", From: monday.Add(onset)})
	plan.Places[0].Vessel.Interval = time.Minute
	plan.Places[0].Probe = Probe{Bubbles: 0.05, Noise: 0.2}
	r := play(plan, 1)
	if up, down := spikes(r, onset-20*time.Hour, onset); up < 20 || down > up/2 {
		t.Errorf("with air %d spikes up and %d down", up, down)
	}
	if up, down := spikes(r, onset+time.Hour, onset+21*time.Hour); up+down > 0 {
		t.Errorf("without air %d spikes up and %d down", up, down)
	}
}

func TestWholeRoomLosesItsAirInOneMinute(t *testing.T) {
	plan := Season(1, monday, 12, 5, 0)
	plan.Faults = []Fault{{Kind: AirOff, Vessel: Everywhere, From: monday.Add(onset)}}
	room := New(plan, 1)
	for room.Now().Before(monday.Add(onset)) {
		room.Step()
	}
	for _, place := range plan.Places {
		tr, _ := room.Truth(place.Vessel.Name)
		if tr.AirLpm != 0 || len(tr.Faults) != 1 || tr.Faults[0].Vessel != place.Vessel.Name {
			t.Errorf("%s: air %.1f, faults %+v", place.Vessel.Name, tr.AirLpm, tr.Faults)
		}
	}
}

func TestLamps(t *testing.T) {
	noon, night := onset+2*time.Hour, 70*time.Hour+30*time.Minute // 22:30
	near(t, "lamp out", mean(struck(t, LampOut, false).values(unit.Light, noon, noon+time.Hour)), 0, 0)
	near(t, "lamp dim", mean(struck(t, LampDim, false).values(unit.Light, noon, noon+time.Hour)), 0.45*120, 1e-9)
	near(t, "timer stuck", mean(struck(t, TimerStuckOn, true).values(unit.Light, night, night+time.Hour)), 120, 1e-9)
	near(t, "night", mean(struck(t, LampOut, false).values(unit.Light, night, night+time.Hour)), 0, 0)
	if bite := struck(t, TimerStuckOn, true).bite(); bite != 16*time.Hour {
		t.Errorf("a timer that sticks at six in the morning shows after %v, at the end of the lamp's hours after 16 h", bite)
	}
}

func TestTemperature(t *testing.T) {
	if temp := struck(t, ChillerOut, false).at(cleared).TempC; temp < 26 || temp > 30.5 {
		t.Errorf("after six hours without cooling %.1f degC", temp)
	}
	if temp := struck(t, HeaterOut, false).at(cleared).TempC; temp > 18 || temp < 11 {
		t.Errorf("after six hours without heating %.1f degC", temp)
	}
	near(t, "mended", struck(t, HeaterOut, false).at(cleared+20*time.Hour).TempC, 22, 1.2)
}

// How long after its onset a fault of the culture bites, and how the living
// cells then stand beside the healthy twin a day and two days after the onset.
func TestFaultsOfTheCulture(t *testing.T) {
	for kind, c := range map[FaultKind]struct {
		from, to        time.Duration
		day, twoDaysTop float64
	}{
		Contamination:  {4 * time.Hour, 16 * time.Hour, 0.9, 0.3},
		Lysis:          {20 * time.Minute, 3 * time.Hour, 0.3, 0.3},
		PartialKill:    {0, time.Minute, 0.6, 0.7},
		NutrientShort:  {3 * time.Hour, 36 * time.Hour, 1, 0.85},
		DeadInoculum:   {0, time.Minute, 0.2, 0.25},
		Slow:           {6 * time.Hour, 40 * time.Hour, 0.95, 0.75},
		BacterialBloom: {5 * time.Hour, 30 * time.Hour, 1, 1},
	} {
		r := struck(t, kind, true)
		if bite := r.bite(); bite < c.from || bite > c.to {
			t.Errorf("%s bites after %v, not %v to %v", kind, bite, c.from, c.to)
		}
		for after, top := range map[time.Duration]float64{24 * time.Hour: c.day, 48 * time.Hour: c.twoDaysTop} {
			if tr := r.at(onset + after); tr.Biomass > top*tr.Healthy {
				t.Errorf("%s: after %v %.3f g/L are alive, healthy were %.3f", kind, after, tr.Biomass, tr.Healthy)
			}
		}
	}
}

// Grazers: the loss of each six hours is greater than that of the six before.
func TestContaminationBendsOver(t *testing.T) {
	r := struck(t, Contamination, true)
	last := 1.0
	for after := 6 * time.Hour; after <= 30*time.Hour; after += 6 * time.Hour {
		a, b := r.at(onset+after-6*time.Hour), r.at(onset+after)
		kept := (b.Biomass / b.Healthy) / (a.Biomass / a.Healthy)
		if kept >= last {
			t.Errorf("up to %v it keeps %.2f of its cells in six hours, before that %.2f", after, kept, last)
		}
		last = kept
	}
}

func TestBloomRaisesTheODInTheDark(t *testing.T) {
	r := struck(t, BacterialBloom, true)
	for night := range 2 { // dark from 22:00 to 06:00
		evening, morning := r.at(time.Duration(70+24*night)*time.Hour), r.at(time.Duration(78+24*night)*time.Hour)
		if night == 0 && morning.Signal <= evening.Signal {
			t.Errorf("od %.3f in the evening, %.3f in the morning", evening.Signal, morning.Signal)
		}
		if morning.HealthySignal >= evening.HealthySignal {
			t.Errorf("the healthy twin grows in the dark: %.3f, %.3f", evening.HealthySignal, morning.HealthySignal)
		}
	}
}

func TestFaultWaitsForACulture(t *testing.T) {
	plan := quiet(3, Fault{Kind: DeadInoculum, Vessel: "C01", From: monday})
	plan.Places[0].Starts[0].Lot.Inoculated = monday.Add(30 * time.Hour)
	r := play(plan, 1)
	if tr := r.at(32 * time.Hour); len(tr.Faults) != 1 || tr.Faults[0].Began.Sub(monday) != 30*time.Hour || tr.Biomass > 0.2*tr.Healthy {
		t.Errorf("%+v", tr)
	}
}

func TestFaultsOfSensors(t *testing.T) {
	in, before := onset+3*time.Hour, onset-time.Hour
	od := func(kind FaultKind, from time.Duration) []float64 {
		return struck(t, kind, false).values(unit.OD, from, from+time.Hour)
	}
	healthy := mean(play(quiet(6), 1).values(unit.OD, in, in+time.Hour))
	if stuck := od(ODStuck, in); slices.Max(stuck) != slices.Min(stuck) || math.Abs(stuck[0]-mean(od(ODStuck, before))) > 0.02 {
		t.Errorf("stuck: %v", stuck)
	}
	if n := len(od(ODSilent, in)); n != 0 {
		t.Errorf("silent: %d values", n)
	}
	silent := struck(t, AllSilent, false)
	for _, q := range unit.All {
		if n := len(silent.values(q, in, in+time.Hour)); n != 0 {
			t.Errorf("all silent: %d values of %v", n, q)
		}
	}
	near(t, "gain", mean(od(ODGainJump, in))/healthy, 1.35, 1e-6)
	near(t, "bubble", mean(od(ODBubbleLodged, in))-healthy, 0.15, 0.02)
	near(t, "film", mean(od(ODFouling, in))-healthy, 0.2*3.5/24, 0.005)
	for _, v := range struck(t, TempDisconnected, false).values(unit.Temperature, in, in+time.Hour) {
		near(t, "thermometer", v, -127, 0)
	}
	dry := struck(t, ProbeDry, false)
	if level := dry.at(in).VolumeL; level > 0.26*19 {
		t.Errorf("run out, and %.1f L are left", level)
	}
	if v := mean(dry.values(unit.OD, in, in+time.Hour)); v > 0.5*healthy {
		t.Errorf("dry: od %.3f", v)
	}
	for _, kind := range []FaultKind{ODStuck, ODGainJump, AllSilent, TempDisconnected} {
		if tr := struck(t, kind, false).at(in); tr.Biomass != tr.Healthy {
			t.Errorf("%s touched the culture", kind)
		}
	}
}

func TestEveryKindHasAClass(t *testing.T) {
	for _, k := range FaultKinds() {
		if !k.Valid() || !slices.Contains(analysis.Classes, k.Class()) {
			t.Errorf("%s: class %q", k, k.Class())
		}
	}
	if FaultKind("ghost").Valid() || FaultKind("ghost").Class() != "" {
		t.Error("a kind that does not exist is valid")
	}
}

func TestParseFault(t *testing.T) {
	at := time.Date(2026, 1, 31, 1, 40, 0, 0, time.UTC)
	for word, want := range map[string]Fault{
		"air_off:C03@2026-01-31T01:40:00Z":            {Kind: AirOff, Vessel: "C03", From: at},
		"air_off:C03@2026-01-31T02:40:00+01:00/2h50m": {Kind: AirOff, Vessel: "C03", From: at, Until: at.Add(170 * time.Minute)},
		"lamp_dim:*@+26h30m/3h=0.4":                   {Kind: LampDim, Vessel: "*", From: monday.Add(26*time.Hour + 30*time.Minute), Until: monday.Add(29*time.Hour + 30*time.Minute), Strength: 0.4},
		"temp_disconnected:a@b:c@+0s=85":              {Kind: TempDisconnected, Vessel: "a@b:c", From: monday, Strength: 85},
	} {
		got, err := ParseFault(word, monday)
		if err != nil || got.Kind != want.Kind || got.Vessel != want.Vessel || !got.From.Equal(want.From) || !got.Until.Equal(want.Until) || got.Strength != want.Strength {
			t.Errorf("%s: %+v, %v", word, got, err)
		}
	}
	for word, want := range map[string]string{
		"":                     "want kind:vessel@when",
		"air_off:C03":          "want kind:vessel@when",
		"air_off:@+1h":         "want kind:vessel@when",
		"ghost:C03@+1h":        `no kind "ghost"`,
		"air_off:C03@1h":       `"1h" is not when it begins`,
		"air_off:C03@+-1h":     `"+-1h" is not when it begins`,
		"air_off:C03@+1h/-2h":  `"-2h" is not how long it lasts`,
		"air_off:C03@+1h/2h=a": `strength "a" is not a number`,
		"air_off:C03@+1h=NaN":  `strength "NaN" is not a number`,
	} {
		if _, err := ParseFault(word, monday); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", word, err)
		}
	}
}
