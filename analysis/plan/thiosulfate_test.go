package plan

import (
	"slices"
	"strings"
	"testing"
)

// said fails unless one sentence holds the text; none may be there for "".
func said(t *testing.T, name string, sentences []string, want string) {
	t.Helper()
	if want == "" {
		if len(sentences) > 0 {
			t.Errorf("%s: said %q for nothing", name, sentences)
		}
		return
	}
	if !slices.ContainsFunc(sentences, func(s string) bool { return strings.Contains(s, want) }) {
		t.Errorf("%s: %q not said in %q", name, want, sentences)
	}
}

// mg per mg Cl2, computed from 158.097, 248.172 and 70.90 g/mol. The 1:4
// reaction is read, 1:1 and 2:1 are from memory; 7.0 mg/mg is also the rule of
// Hach TE213, read.
func TestStoichiometries(t *testing.T) {
	for conv, want := range map[Convention][2]float64{
		ToSulfate: {0.557465, 0.875078}, ToSulfur: {2.229859, 3.500310}, ToTetrathionate: {4.459718, 7.000621},
	} {
		for i, form := range []Form{Anhydrous, Pentahydrate} {
			got, err := Neutralise(Neutralisation{WaterL: 1, FreeChlorineMgPerL: 1, Convention: conv, Form: form, Margin: 1})
			if err != nil {
				t.Fatal(err)
			}
			near(t, string(conv), got.Chosen.MgPerMgCl2, want[i], 1e-6)
			near(t, "grams", got.Chosen.Grams, want[i]/1000, 1e-6)
		}
	}
}

// Published rules that do not go to sulfate lie up to the other convention:
// 7.0 mg/mg and 1.13 mL of 0.0250 N a mg (Hach TE213, read); 1 mL of 0.1 N, 25 g/L
// of crystals, for 3.54 mg (FAO x3980e, Annex 7, read); 5.0 and 5.6 mg/mg for
// sample bottles (after Standard Methods, read); 1.9 mg/mg for pipelines (a field
// table at pH 7, read). The default lies below all of them, hence the test.
func TestRulesForOtherWaters(t *testing.T) {
	need := func(c Convention) float64 {
		got, err := Neutralise(Neutralisation{WaterL: 1, FreeChlorineMgPerL: 1, Convention: c, Margin: 1})
		if err != nil {
			t.Fatal(err)
		}
		return got.Chosen.MgPerMgCl2
	}
	near(t, "test kit", need(ToTetrathionate), 7.0, 1e-3)
	near(t, "1.13 mL of 0.0250 N", need(ToTetrathionate), 1.13*0.0250*248.172, 2e-3)
	near(t, "0.1 N", 0.1*248.172/need(ToTetrathionate), 3.54, 2e-3)
	for _, rule := range []float64{1.9, 5.0, 5.6} {
		if rule <= need(ToSulfate)*UsualMargin || rule >= need(ToTetrathionate) {
			t.Errorf("%v mg/mg is not between the two", rule)
		}
	}
}

func TestTheOtherConventionIsEightTimes(t *testing.T) {
	sulfate, err := Neutralise(Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25})
	if err != nil {
		t.Fatal(err)
	}
	if sulfate.Chosen.Convention != ToSulfate || sulfate.Other.Convention != ToTetrathionate {
		t.Errorf("default %s beside %s", sulfate.Chosen.Convention, sulfate.Other.Convention)
	}
	near(t, "ratio", sulfate.Other.Grams/sulfate.Chosen.Grams, 8, 1e-12)
	back, err := Neutralise(Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, Convention: ToTetrathionate})
	if err != nil {
		t.Fatal(err)
	}
	if back.Chosen != sulfate.Other || back.Other != sulfate.Chosen {
		t.Error("asked for the other convention, the two do not change places")
	}
}

// Handbook rules lie between the default's need and SafeMargin, so the default
// margin does too. A supplier's protocol (read): 0.1 mL/L of 248 g/L against
// 0.5 mL/L of 5.25 per cent, 13 per cent above 1:4. SRAC 5004 after Hoff and
// Snell: 1 mL of 250 g/L (read) for 4 mL of bleach (from memory), 25 to 50 per cent above.
func TestHandbookRulesLieAboveTheNeed(t *testing.T) {
	for name, row := range map[string]struct{ thioMg, chlorineMg, times float64 }{
		"protocol":  {0.1 * 248, 25, 1.13},
		"SRAC 5":    {250, 4 * 47.62, 1.50},
		"SRAC 5.25": {250, 4 * 50.00, 1.43},
		"SRAC 6":    {250, 4 * 57.15, 1.25},
	} {
		got, err := Neutralise(Neutralisation{WaterL: 1, FreeChlorineMgPerL: row.chlorineMg, Margin: 1})
		if err != nil {
			t.Fatal(err)
		}
		near(t, name, row.thioMg/(got.Chosen.Grams*1000), row.times, 5e-3)
	}
	if UsualMargin < 1.13 || UsualMargin > SafeMargin {
		t.Error("the usual margin is not within the handbooks'")
	}
}

// 0.258 mg of oxygen per mg of pentahydrate, computed from S2O3 + 2 O2 + H2O -> 2 SO4 + 2 H.
func TestOxygenOfLeftoverThiosulfate(t *testing.T) {
	near(t, "mg per mg", oxygenPerMg, 2*31.998/248.172, 1e-3)
	a, err := Neutralise(Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Neutralise(Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, Form: Anhydrous})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "either form", a.Chosen.OxygenMgPerL, b.Chosen.OxygenMgPerL, 1e-12)
	// 25 mg/L x 0.875 x 1.25 = 27.3 mg/L of crystals, worked by hand: all the oxygen that aerated seawater holds.
	near(t, "mg/L", a.Chosen.OxygenMgPerL, 7.05, 1e-3)
	near(t, "the powder for the crystals", a.OtherGrams, b.Chosen.Grams, 1e-12)
	near(t, "the crystals for the powder", b.OtherGrams, a.Chosen.Grams, 1e-12)
}

func TestThiosulfateBoundsAreSaid(t *testing.T) {
	for name, row := range map[string]struct {
		in   Neutralisation
		want string
	}{
		"usual":               {Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25}, ""},
		"margin at its bound": {Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, Margin: 1.5}, ""},
		"margin":              {Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, Margin: 1.6}, "1.6 times the need to sulfate, above 1.5"},
		"eight times":         {Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, Convention: ToTetrathionate, Margin: 1}, "8 times the need to sulfate"},
		"the amount":          {Neutralisation{WaterL: 20, FreeChlorineMgPerL: 400}, "437.5 mg/L of thiosulfate in the water, above 330"},
		"most usual":          {Neutralisation{WaterL: 20, FreeChlorineMgPerL: 250, Margin: 1.5}, ""},
	} {
		got, err := Neutralise(row.in)
		if err != nil {
			t.Fatal(name, err)
		}
		said(t, name, got.Warnings, row.want)
	}
}

// No thiosulfate without the test, and the dangers of the soak are named once.
func TestSterilisingTellsTheTestAndTheDangers(t *testing.T) {
	got, err := Sterilise(Chlorination{20, Label{5.25, ByVolume, 0}, 25, UsualContact}, Neutralisation{StockGPerL: 248})
	if err != nil {
		t.Fatal(err)
	}
	if got.Thiosulfate.Test.Wait <= 0 || got.Thiosulfate.Test.TargetMgPerL <= 0 {
		t.Errorf("no test: %+v", got.Thiosulfate.Test)
	}
	for _, c := range []Caution{BleachAlone, AcidAlone, RinseBetween, Protect, TestAfter, Defer} {
		n := 0
		for _, have := range got.Cautions {
			if have == c {
				n++
			}
		}
		if n != 1 {
			t.Errorf("said %d times: %s", n, c)
		}
	}
	if got.Cautions[len(got.Cautions)-1] != Defer {
		t.Error("does not end by deferring to safety data sheets")
	}
	// The protocol's 0.1 mL/L of 1 M is 13 per cent above the need; at the usual margin it is 1.25/1.13 of that.
	near(t, "mL of 248 g/L", got.Thiosulfate.Chosen.StockML, 0.1*20*1.25/1.134, 2e-3)
}
