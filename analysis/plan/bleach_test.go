package plan

import (
	"math"
	"testing"
	"time"
)

// near fails unless got is within a relative distance of want.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %v, want %v within %v of it", what, got, want, relative)
	}
}

// g/L of available chlorine: computed from NaOCl 74.439 and Cl2 70.90 g/mol;
// specific gravities from memory.
func TestChlorineOfBleachTable(t *testing.T) {
	for _, row := range []struct{ percent, density, byWeight float64 }{
		{3, 1.04, 29.72}, {5, 1.07, 50.96}, {5.25, 1.08, 54.00}, {6, 1.09, 62.29},
		{8.25, 1.11, 87.22}, {10, 1.16, 110.49}, {12.5, 1.20, 142.87},
	} {
		for _, density := range []float64{row.density, 0} {
			got, err := Label{row.percent, ByWeight, density}.ChlorineGPerL()
			if err != nil {
				t.Fatal(err)
			}
			near(t, "by weight", got, row.byWeight, 2e-4)
		}
	}
	for percent, want := range map[float64]float64{5: 47.62, 5.25: 50.00, 6: 57.15, 12.5: 119.06} {
		got, err := Label{percent, ByVolume, 0}.ChlorineGPerL()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "by volume", got, want, 2e-4)
	}
}

// Labels as per cent available chlorine by weight: pool chemistry table, read;
// 5.25 -> 5, 6 -> 5.7, 8.25 -> 7.86. WHO 2014, Annex G (NCBI NBK214356): most
// bleach is 5 per cent, 50,000 ppm available chlorine. Trade per cent is g/L over
// 10: product profile after Handbook of Chlorination 1972.
func TestKindsOfPerCentAgree(t *testing.T) {
	for naocl, available := range map[float64]float64{5.25: 5, 6: 5.7, 8.25: 7.86} {
		a := Label{naocl, ByWeight, 1.1}.chlorine()
		b := Label{available, AvailableByWeight, 1.1}.chlorine()
		near(t, "available chlorine", a, b, 3e-3)
	}
	near(t, "5 % available by volume, mg/L", 1000*Label{5, AvailableByVolume, 0}.chlorine(), 50000, 1e-12)
	// 12.5 trade -> 10.8 per cent by weight at SG 1.16, same table.
	near(t, "trade", Label{12.5, AvailableByVolume, 0}.chlorine(), Label{10.8, AvailableByWeight, 1.16}.chlorine(), 5e-3)
}

// 0.5 mL/L of laundry bleach (a supplier's protocol, read) is 25 mg/L at 5.25
// per cent by volume; 1 to 5 mL/L of 5 per cent bleach (Creswell 2010, SRAC
// 5004, read) is 47.6 to 238 mg/L, and its own "2.5 mg/L" would be 0.0525 mL/L (computed).
func TestPublishedBleachDoses(t *testing.T) {
	for _, row := range []struct{ percent, mgPerL, mlPerL float64 }{
		{5.25, 25, 0.5}, {5, 47.6, 1}, {5, 238, 5}, {5, 2.5, 0.0525},
	} {
		got, err := Chlorinate(Chlorination{WaterL: 20, Bleach: Label{row.percent, ByVolume, 0},
			FreeChlorineMgPerL: row.mgPerL, Contact: UsualContact})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mL/L", got.BleachMLPerL, row.mlPerL, 1e-3)
		near(t, "mL", got.BleachML, row.mlPerL*20, 1e-3)
		if len(got.Warnings) != 0 {
			t.Errorf("%v mg/L for a day is usual, yet: %q", row.mgPerL, got.Warnings)
		}
	}
}

// The two readings of a label lie 7 to 20 per cent apart (computed).
func TestOtherReadingOfTheLabel(t *testing.T) {
	for _, percent := range []float64{5, 5.25, 6, 12.5} {
		got, err := Chlorinate(Chlorination{20, Label{percent, ByVolume, 0}, 25, UsualContact})
		if err != nil {
			t.Fatal(err)
		}
		if r := got.BleachML / got.Other.BleachML; r < 1.07-1e-9 || r > 1.20+1e-9 || got.Other.Basis != ByWeight {
			t.Errorf("%v %%: %v times, %s", percent, r, got.Other.Basis)
		}
	}
}

func TestBleachBoundsAreSaid(t *testing.T) {
	usual := Chlorination{20, Label{5, ByVolume, 0}, 25, UsualContact}
	for name, row := range map[string]struct {
		change func(*Chlorination)
		want   string
	}{
		"at the bound":    {func(c *Chlorination) { c.FreeChlorineMgPerL = 250 }, ""},
		"above it":        {func(c *Chlorination) { c.FreeChlorineMgPerL = 250.1 }, "250.1 mg/L is above 250 mg/L"},
		"too thin":        {func(c *Chlorination) { c.FreeChlorineMgPerL = 0.5 }, "0.5 mg/L is below 1 mg/L"},
		"short":           {func(c *Chlorination) { c.Contact = 5 * time.Hour }, "5 h is short"},
		"just long":       {func(c *Chlorination) { c.Contact = 6 * time.Hour }, ""},
		"FAO needs a day": {func(c *Chlorination) { c.FreeChlorineMgPerL, c.Contact = 2, 12*time.Hour }, "the published contact is 24 h"},
		"trade bleach":    {func(c *Chlorination) { c.Bleach.StrengthPercent = 12.5 }, "12.5 % is stronger than household"},
	} {
		in := usual
		row.change(&in)
		got, err := Chlorinate(in)
		if err != nil {
			t.Fatal(name, err)
		}
		said(t, name, got.Warnings, row.want)
	}
}
