package plan

import (
	"slices"
	"strings"
	"testing"
)

func dosed(t *testing.T, in Dosing) NutrientDose {
	t.Helper()
	got, err := Dose(in)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// f/2 (Guillard and Ryther 1962; Guillard 1975), mol/L: stocks read on Clark
// University's "F/2 Culture Media" and, iron and EDTA, on a public protocol
// repository's L1 page; concentrations computed from them with the atomic
// weights of 2021; the values usually printed, from memory.
func TestF2AgainstItsTable(t *testing.T) {
	got := dosed(t, Dosing{CultureL: 20, Recipe: F2(), Diatoms: true})
	for n, want := range map[Nutrient][2]float64{
		Nitrogen: {8.8242e-4, 8.82e-4}, Phosphorus: {3.6234e-5, 3.62e-5}, Silicon: {1.0556e-4, 1.06e-4},
		Iron: {1.1654e-5, 1.17e-5}, EDTA: {1.1713e-5, 1.17e-5}, "Mn": {9.0956e-7, 9.10e-7},
		"Zn": {7.6511e-8, 7.65e-8}, "Co": {4.2030e-8, 4.20e-8}, "Cu": {3.9251e-8, 3.93e-8}, "Mo": {2.6038e-8, 2.60e-8},
		Thiamine: {2.9650e-7, 2.96e-7}, Biotin: {2.0466e-9, 2.05e-9}, Cobalamin: {3.6890e-10, 3.69e-10},
	} {
		near(t, string(n), got.In(n).MolPerL, want[0], 5e-5)
		near(t, string(n)+" as printed", got.In(n).MolPerL, want[1], 6e-3)
	}
	if len(got.Finals) != 13 {
		t.Errorf("%d nutrients, the table has 13", len(got.Finals))
	}
	// mg/L and N:P, computed.
	near(t, "N mg/L", got.In(Nitrogen).MgPerL, 12.3600, 5e-5)
	near(t, "P mg/L", got.In(Phosphorus).MgPerL, 1.1223, 5e-5)
	near(t, "Si mg/L", got.In(Silicon).MgPerL, 2.9647, 5e-5)
	near(t, "N:P", got.In(Nitrogen).MolPerL/got.In(Phosphorus).MolPerL, 24.353, 5e-5)
}

// L1 (Guillard and Hargraves 1993), mol/L, computed from the stocks read on SCCAP's "L1".
func TestL1AgainstItsTable(t *testing.T) {
	got := dosed(t, Dosing{CultureL: 20, Recipe: L1()})
	for n, want := range map[Nutrient]float64{
		Nitrogen: 8.8242e-4, Phosphorus: 3.6234e-5, Iron: 1.1654e-5,
		"Cu": 9.81e-9, "Mo": 8.22e-8, "Se": 1.01e-8, "Ni": 1.03e-8, "V": 1.00e-8, "Cr": 9.99e-9,
	} {
		near(t, string(n), got.In(n).MolPerL, want, 5e-3)
	}
}

// Walne (Walne 1970; Laing 1991), recipe from memory, mol/L computed.
func TestWalneAgainstItsTable(t *testing.T) {
	got := dosed(t, Dosing{CultureL: 20, Recipe: Walne()})
	for n, want := range map[Nutrient]float64{
		Nitrogen: 1.1766e-3, Phosphorus: 1.2820e-4, Iron: 4.81e-6, EDTA: 1.209e-4, "B": 5.434e-4, "Mn": 1.82e-6,
		// 21, 20, 20 and 9 mg/L of the salts in A, worked by hand: 2.1e-5/136.28, 2.0e-5/237.93, 2.0e-5/249.68, 7 x 9e-6/1235.86.
		"Zn": 1.541e-7, "Co": 8.406e-8, "Cu": 8.010e-8, "Mo": 5.098e-8,
	} {
		near(t, string(n), got.In(n).MolPerL, want, 1e-3)
	}
	near(t, "N:P", got.In(Nitrogen).MolPerL/got.In(Phosphorus).MolPerL, 9.18, 1e-3)
	// Vitamins are dosed, and nothing is claimed of what they hold.
	for _, f := range got.Finals {
		if f.Nutrient == Thiamine || f.Nutrient == Cobalamin || f.Nutrient == Biotin {
			t.Errorf("%v of %s claimed", f.MgPerL, f.Nutrient)
		}
	}
	said(t, "doubt", got.Assumed, "ask the label")
	// 2 mL/L of 40 g/L are 80 mg/L of 212.14 g/mol, worked by hand.
	diatom := dosed(t, Dosing{CultureL: 20, Recipe: Walne(), Diatoms: true})
	near(t, "Si", diatom.In(Silicon).MolPerL, 3.7711e-4, 1e-4)
	if v := volume(t, diatom, "silicate"); v != 40 {
		t.Errorf("%v mL of silicate for 20 L at 2 mL/L", v)
	}
	if v := volume(t, got, "vitamins"); v != 2 {
		t.Errorf("%v mL of vitamins for 20 L at 0.1 mL/L", v)
	}
}

// Doses scale with strength and volume, mL = mL/L x L x strength: "f" is twice f/2.
func TestDoseScales(t *testing.T) {
	for _, row := range []struct{ litres, strength, ml float64 }{{18, 1, 18}, {18, 0.5, 9}, {20, 2, 40}, {0.25, 1, 0.25}} {
		got := dosed(t, Dosing{CultureL: row.litres, Recipe: F2(), Strength: row.strength})
		near(t, "mL", volume(t, got, "A"), row.ml, 1e-12)
		near(t, "N", got.In(Nitrogen).MolPerL, row.strength*8.8242e-4, 5e-5)
		label := dosed(t, Dosing{CultureL: row.litres, Recipe: F2(), Strength: row.strength, LabelMLPerL: map[string]float64{"A": 0.25, "B": 0.25}})
		near(t, "mL by label", volume(t, label, "B"), row.ml/4, 1e-12)
	}
}

func volume(t *testing.T, d NutrientDose, part string) float64 {
	t.Helper()
	for _, p := range d.Parts {
		if p.Part == part {
			return p.VolumeML
		}
	}
	t.Fatalf("no part %s in %v", part, d.Parts)
	return 0
}

// Common practice: A and B in equal volumes, 5 mL each in one carboy; in 20 L
// that is a label of 0.25 mL/L. It makes the recipe's strength all the same.
func TestLabelDose(t *testing.T) {
	got := dosed(t, Dosing{CultureL: 20, Recipe: F2(), LabelMLPerL: map[string]float64{"A": 0.25, "B": 0.25}})
	if a, b := volume(t, got, "A"), volume(t, got, "B"); a != 5 || b != 5 {
		t.Errorf("%v and %v mL", a, b)
	}
	near(t, "N", got.In(Nitrogen).MolPerL, 8.8242e-4, 5e-5)
}

func TestSilicateForDiatomsOnlyAndLast(t *testing.T) {
	for _, r := range []Recipe{F2(), L1(), Walne()} {
		none := dosed(t, Dosing{CultureL: 20, Recipe: r})
		if none.In(Silicon).MolPerL != 0 || len(none.Parts) != 2 {
			t.Errorf("%s for a flagellate: %v", r.Name, none.Parts)
		}
		with := dosed(t, Dosing{CultureL: 20, Recipe: r, Diatoms: true})
		if last := with.Parts[len(with.Parts)-1]; last.Part != "silicate" || last.VolumeML <= 0 {
			t.Errorf("%s for a diatom ends with %v", r.Name, last)
		}
	}
}

func TestDoseBoundsAreSaid(t *testing.T) {
	noSilicate := Recipe{Name: "plain", Parts: F2().Parts[:2]}
	for name, row := range map[string]struct {
		in   Dosing
		want string
	}{
		"f":                  {Dosing{CultureL: 20, Recipe: F2(), Strength: 2}, ""},
		"above f":            {Dosing{CultureL: 20, Recipe: F2(), Strength: 2.5}, "2.5 times f/2 in all is above 2"},
		"adding up":          {Dosing{CultureL: 20, Recipe: F2(), Strength: 1.5, AlreadyStrength: 1, Again: true}, "2.5 times f/2 in all"},
		"second dose":        {Dosing{CultureL: 20, Recipe: F2(), AlreadyStrength: 1, Again: true}, "dosed before"},
		"label":              {Dosing{CultureL: 20, Recipe: F2(), LabelMLPerL: map[string]float64{"A": 5, "B": 5}}, "5 mL/L of part A is above 2 mL/L: read the label again; 5 mL for a carboy of 20 L would be 0.25"},
		"label at the bound": {Dosing{CultureL: 20, Recipe: F2(), LabelMLPerL: map[string]float64{"A": 2, "B": 2}}, ""},
		"one label":          {Dosing{CultureL: 20, Recipe: F2(), LabelMLPerL: map[string]float64{"A": 1}}, "Part B is dosed as the recipe's own solution, 1 mL/L"},
		"unequal":            {Dosing{CultureL: 20, Recipe: F2(), LabelMLPerL: map[string]float64{"A": 0.25, "B": 0.5}}, "usually dosed in equal volumes"},
		"no silicate":        {Dosing{CultureL: 20, Recipe: noSilicate, Diatoms: true}, "no part for diatoms"},
		"not a diatom":       {Dosing{CultureL: 20, Recipe: noSilicate}, ""},
	} {
		said(t, name, dosed(t, row.in).Warnings, row.want)
	}
}

func TestNeverTwiceUnlessSaid(t *testing.T) {
	_, err := Dose(Dosing{CultureL: 20, Recipe: F2(), AlreadyStrength: 1})
	if err == nil || !strings.Contains(err.Error(), "this lot has had 1 times f/2") {
		t.Errorf("got %v", err)
	}
	twice := dosed(t, Dosing{CultureL: 20, Recipe: F2(), AlreadyStrength: 1, Again: true})
	near(t, "N of both", twice.In(Nitrogen).MolPerL, 2*8.8242e-4, 5e-5)
	if v := volume(t, twice, "A"); v != 20 {
		t.Errorf("%v mL of A now: the first dose is in already", v)
	}
}

// Molar masses as printed on bottles, g/mol, from memory.
func TestMolarMass(t *testing.T) {
	for formula, want := range map[string]float64{
		"NaNO3": 84.99, "NaH2PO4·H2O": 137.99, "NaH2PO4.H2O": 137.99, "Na2SiO3.9H2O": 284.20, "FeCl3.6H2O": 270.30, edta: 372.24,
		"(NH4)6Mo7O24.4H2O": 1235.86, "CuSO4.5H2O": 249.69, "H3BO3": 61.83, thiamineHCl: 337.27, biotin: 244.31,
		cobalamin: 1355.4, "Na2S2O3.5H2O": molarThiosulfate[Pentahydrate], "NaClO": molarNaOCl, "Cl2": molarCl2,
	} {
		got, err := molarMass(formula)
		if err != nil {
			t.Errorf("%s: %v", formula, err)
		}
		near(t, formula, got, want, 2e-4)
	}
	for _, bad := range []string{"", "NaNO3.", "nano3", "(NH4", "NH4)2", "Xx2", "Na NO3", "5", "((((H))))", "()"} {
		if got, err := molarMass(bad); err == nil {
			t.Errorf("%q weighs %v", bad, got)
		}
	}
}

func TestRecipeNamed(t *testing.T) {
	for name, want := range map[string]string{"f/2": "f/2", "F2": "f/2", "Guillard F/2": "f/2", "l1": "L1", "Conwy": "Walne", "Walne's": "Walne"} {
		got, err := RecipeNamed(name)
		if err != nil || got.Name != want {
			t.Errorf("%q is %q, %v", name, got.Name, err)
		}
	}
	if _, err := RecipeNamed("f/3"); err == nil || !strings.Contains(err.Error(), `"f/3"`) {
		t.Errorf("got %v", err)
	}
}

// A built-in recipe that was changed by one caller is whole for the next.
func TestRecipesAreNotShared(t *testing.T) {
	F2().Parts[1].Salts[0].GPerL = 99
	if slices.ContainsFunc(F2().Parts[1].Salts, func(s Salt) bool { return s.GPerL == 99 }) {
		t.Error("the change is still there")
	}
}
