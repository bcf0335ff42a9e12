package plan

import (
	"math"
	"strings"
	"testing"
)

// Common practice: as much sterile seawater out as culture goes in, 2 L for
// 2 L in one carboy; about a tenth of the volume.
func TestInoculumBalances(t *testing.T) {
	got, err := Inoculate(Inoculation{WorkingL: 20, Donor: Density{5e6, CellsPerML}, Wanted: Density{5e5, CellsPerML}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "in", got.InoculumL, 2, 1e-12)
	near(t, "share of the new medium", got.NewMediumShare, 0.9, 1e-12)
	said(t, "nutrients", got.Assumed, "keeps 90 % of its nutrients")
	if got.TakeOutL != got.InoculumL {
		t.Errorf("%v L out for %v L in", got.TakeOutL, got.InoculumL)
	}
	usual, err := Inoculate(Inoculation{WorkingL: 20, Donor: Density{0.8, OD}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "a tenth", usual.InoculumL, 2, 1e-12)
	near(t, "start", usual.Start.Value, 0.08, 1e-12)
}

// Usual inoculum: 10 to 20 per cent of the new volume (hatchery practice, from memory).
func TestInoculumBoundsAreSaid(t *testing.T) {
	for wanted, want := range map[float64]string{1e6: "", 2e6: "", 2.1e6: "above the usual 10 to 20", 1e5: "far below the usual"} {
		got, err := Inoculate(Inoculation{WorkingL: 20, Donor: Density{1e7, CellsPerML}, Wanted: Density{wanted, CellsPerML}})
		if err != nil {
			t.Fatal(err)
		}
		said(t, num(wanted), got.Warnings, want)
	}
}

// -ln(1-f)/D, 1/d, computed. FAO 471 section 3.3 (read): Tetraselmis suecica
// gives 25 to 50 per cent three times a week for months.
func TestHarvestNeeds(t *testing.T) {
	week3 := 7.0 / 3
	for _, row := range []struct{ share, days, want float64 }{
		{0.25, 1, 0.287682}, {0.30, 1, 0.356675}, {0.50, 2, 0.346574}, {0.25, week3, 0.123292}, {0.50, week3, 0.297063},
	} {
		got, err := Harvest(Draw{WorkingL: 20, HarvestL: 20 * row.share, EveryDays: row.days})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "1/d", got.NeededPerD, row.want, 5e-6)
	}
	// Days from a tenth back to the start, computed.
	for mu, want := range map[float64]float64{0.5: 4.61, 0.7: 3.29, 0.92: 2.50} {
		got, err := Harvest(Draw{WorkingL: 20, HarvestL: 18, GrowthPerD: mu})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "days back", got.BackInDays, want, 2e-3)
	}
	thin, err := Harvest(Draw{WorkingL: 20, HarvestL: 10, EveryDays: 1, GrowthPerD: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	said(t, "outpaced", thin.Warnings, "it thins out")
}

// Savas and Guclu 2006, abstract: 24,699 cells a rotifer and minute, which is
// 3.6e7 a day (computed): an upper bound. Daily rations are 1e5 to 2e5 (from memory, doubtful).
func TestRotiferRations(t *testing.T) {
	near(t, "bound", RotiferMostPerDay, 3.6e7, 2e-2)
	in := Ration{Animals: 2e6, CellsPerAnimalDay: 1.5e5, CultureCellsPerML: 5e7, TankL: 20}
	got, err := Rationed(in)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "L", got.CultureL, 6, 1e-12) // 3e11 cells of 5e10 a litre
	in.CellsPerAnimalDay = 4e7
	if got, err = Rationed(in); err != nil {
		t.Fatal(err)
	}
	said(t, "above the bound", got.Warnings, "the most that a rotifer")
}

// FAO 471, Fig. 97 (read): one pack of Thalassiosira paste is 1,800 L at 2,600
// cells/uL, of Tetraselmis 3,600 L at 410: so many cells, given as a ration, ask
// for that volume.
func TestPackOfPaste(t *testing.T) {
	for _, row := range []struct{ litres, cellsPerUL, cells float64 }{{1800, 2600, 4.68e12}, {3600, 410, 1.476e12}} {
		got, err := Rationed(Ration{Animals: 1000, CellsPerAnimalDay: row.cells / 1000, CultureCellsPerML: row.cellsPerUL * 1000})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "L", got.CultureL, row.litres, 1e-12)
	}
}

// Densities of food that were good, cells/mL: copepods 5e4 to 4e5 (El-Tohamy
// and others 2020, abstract). Beyond that it is said.
func TestTankBounds(t *testing.T) {
	for wanted, want := range map[float64]string{5e4: "", 4e5: "", 4.1e5: "410000 cells/mL in the tank is above 400000"} {
		got, err := FeedTank(TankFeed{TankL: 100, WantedCellsPerML: wanted, CultureCellsPerML: 8e6})
		if err != nil {
			t.Fatal(err)
		}
		said(t, num(wanted), got.Warnings, want)
		// What was there and what came, over what is there now.
		near(t, "mixed", got.Cells/(1000*(100+got.CultureL)), wanted, 1e-12)
	}
	full, err := FeedTank(TankFeed{TankL: 100, NowCellsPerML: 1e5, WantedCellsPerML: 5e4, CultureCellsPerML: 8e6})
	if err != nil || full.CultureL != 0 || full.TankCellsPerML != 1e5 {
		t.Errorf("a full tank gets %v L, %v", full.CultureL, err)
	}
	for animals, want := range map[float64]string{2.4e6: "", 2.6e6: "more than a quarter of the tank"} {
		got, err := Rationed(Ration{Animals: animals, CellsPerAnimalDay: 1e5, CultureCellsPerML: 1e6, TankL: 1000})
		if err != nil {
			t.Fatal(err)
		}
		said(t, num(animals), got.Warnings, want)
	}
	short, err := FeedTank(TankFeed{TankL: 100, WantedCellsPerML: 5e4, CultureCellsPerML: 8e6, AvailableL: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	said(t, "too little", short.Warnings, "0.5 L are there")
}

// 0.4 mg organic dry weight a mg of live spat and week (FAO 471 section 6.4, from
// memory); Tetraselmis suecica 200 pg organic weight a cell (FAO 471 in SRAC 5004, read).
func TestSpat(t *testing.T) {
	got, err := FeedSpat(SpatFeed{LiveG: 10, OrganicPgPerCell: 200, CultureCellsPerML: 1e6})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "cells", got.Cells, 2e10, 1e-12) // 4 g / 200 pg
	near(t, "L a week", got.CultureL, 20, 1e-12)
	near(t, "L a day", got.CultureLPerDay, 20.0/7, 1e-12)
	said(t, "usual", got.Warnings, "")
	much, err := FeedSpat(SpatFeed{LiveG: 10, MgPerMgWeek: 0.81, OrganicPgPerCell: 200, CultureCellsPerML: 1e6})
	if err != nil {
		t.Fatal(err)
	}
	said(t, "much", much.Warnings, "more than twice the usual 0.4")
}

// Computed at 420 ppm, 25 degC, all carbon captured, half of dry weight carbon.
func TestCarbonOfAir(t *testing.T) {
	near(t, "mmol/L at 25", co2MmolPerL(25, 420), 0.0171672, 1e-5)
	near(t, "mmol/L at 20", co2MmolPerL(20, 420), 0.0174600, 1e-5)
	for _, row := range []struct{ vvm, mmol, dry float64 }{
		{0.05, 1.236, 0.0297}, {0.1, 2.472, 0.0594}, {0.2, 4.944, 0.1188}, {0.5, 12.36, 0.2969}, {1.0, 24.72, 0.5938},
	} {
		got, err := Aerate(Aeration{CultureL: 20, AirLPerMin: 20 * row.vvm, TempC: 25, DryGPerL: 0.1})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mmol", got.CMmolPerLDay, row.mmol, 3e-4)
		near(t, "dry", got.DryGPerLDay, row.dry, 1e-3)
		near(t, "growth", got.GrowthPerD, row.dry/0.1, 1e-3)
	}
	rich, err := Aerate(Aeration{CultureL: 20, AirLPerMin: 2, TempC: 25, CO2Ppm: 10000})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "1 per cent", rich.CMmolPerLDay, 58.86, 1e-4)
	if rich.Cautions[0] != VentilateCO2 || len(rich.Warnings) != 0 {
		t.Errorf("at 1 %%: %q %q", rich.Cautions, rich.Warnings)
	}
}

// mu * X * 0.5 and the plain air at 25 degC that brings it, all of it captured,
// computed.
func TestGrowthThatAirCarries(t *testing.T) {
	for _, row := range []struct{ x, mu, mmol, vvm float64 }{
		{0.1, 0.7, 2.914, 0.118}, {0.2, 0.5, 4.163, 0.168}, {0.5, 0.3, 6.244, 0.253}, {1.0, 0.1, 4.163, 0.168},
	} {
		got, err := Aerate(Aeration{CultureL: 20, AirLPerMin: 20 * row.vvm, TempC: 25, DryGPerL: row.x})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mu", got.GrowthPerD, row.mu, 4e-3)
		near(t, "mmol", got.CMmolPerLDay, row.mmol, 4e-3)
	}
}

// The usual aeration is 0.05 to 0.5 vvm, CO2 about 1 per cent when added (FAO 361 and practice, from memory).
func TestAirBoundsAreSaid(t *testing.T) {
	for name, row := range map[string]struct {
		air, ppm float64
		want     string
	}{
		"usual": {2, 0, ""}, "least": {1, 0, ""}, "weak": {0.9, 0, "outside the usual"}, "gale": {11, 0, "outside the usual"},
		"too much CO2": {2, 20000, "20000 ppm is above 10000 ppm"},
	} {
		got, err := Aerate(Aeration{CultureL: 20, AirLPerMin: row.air, TempC: math.NaN(), CO2Ppm: row.ppm})
		if err != nil {
			t.Fatal(err)
		}
		said(t, name, got.Warnings, row.want)
	}
}

// f/2 at nitrogen shares of dry weight, g/L, and at Redfield's ratios, computed.
func TestWhatF2Carries(t *testing.T) {
	f2 := dosed(t, Dosing{CultureL: 20, Recipe: F2(), Diatoms: true})
	for share, want := range map[float64]float64{0.10: 0.124, 0.08: 0.154, 0.07: 0.177, 0.06: 0.206, 0.05: 0.247, 0.04: 0.309, 0.03: 0.412} {
		got, err := Carry(Standing{Dose: f2, NitrogenShare: share})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "by N", got.Nitrogen.DryGPerL, want, 4e-3)
		near(t, "rich", got.RichGPerL, 0.124, 4e-3)
		near(t, "poor", got.PoorGPerL, 0.309, 4e-3)
		near(t, "carbon need, mmol/L", got.CMmolPerL, 5.846, 1e-4)
		near(t, "by P", got.Phosphorus.DryGPerL, 0.092, 4e-3)
		// Half of 2 mmol/L in seawater carries 0.024 g/L, computed; the 2 from memory.
		near(t, "by the seawater's carbon", got.Carbon.DryGPerL, 0.024, 2e-3)
		// Brzezinski 1985, from memory: silicate supports 10.7 % of the nitrate.
		near(t, "by Si", got.Silicon.DryGPerL/got.Nitrogen.DryGPerL, 0.107, 3e-3)
		if got.First != Silicon {
			t.Errorf("diatoms in f/2 end by %s", got.First)
		}
	}
	flagellate := dosed(t, Dosing{CultureL: 20, Recipe: F2()})
	got, err := Carry(Standing{Dose: flagellate})
	if err != nil || got.First != Nitrogen || got.Silicon != (Limit{}) {
		t.Errorf("flagellates end by %s, %v, %v", got.First, got.Silicon, err)
	}
	if !strings.Contains(got.Nitrogen.Arithmetic, "mg/L N / 6.3 % of dry weight") {
		t.Errorf("arithmetic: %s", got.Nitrogen.Arithmetic)
	}
}

// Cells that f/2's nitrogen carries at 6.3 per cent, computed, with dry weights of
// Brown 1991 (from memory), against usual densities at harvest (from memory).
func TestCellsThatF2Carries(t *testing.T) {
	f2 := dosed(t, Dosing{CultureL: 20, Recipe: F2()})
	for _, row := range []struct{ pg, cells float64 }{
		{29.7, 6.6e6}, {6.1, 3.2e7}, {168.2, 1.2e6}, {269.0, 7.3e5}, {11.3, 1.7e7}, {28.4, 6.9e6},
	} {
		got, err := Carry(Standing{Dose: f2, DryPgPerCell: row.pg})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "cells/mL", got.CellsPerML, row.cells, 3e-2)
	}
}
