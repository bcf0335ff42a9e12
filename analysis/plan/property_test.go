package plan

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// sane fails where a result holds a number that is negative, NaN or infinite,
// has no cautions, or cannot be written as JSON.
func sane(t *rapid.T, result any, advice Advice) {
	walkNumbers(t, reflect.ValueOf(result))
	if n := len(advice.Cautions); n == 0 || advice.Cautions[n-1] != Defer {
		t.Fatalf("cautions do not end by deferring: %q", advice.Cautions)
	}
	if _, err := json.Marshal(result); err != nil {
		t.Fatal(err)
	}
}

func walkNumbers(t *rapid.T, v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); !(f >= 0) || math.IsInf(f, 0) {
			t.Fatalf("%v is no amount", f)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			walkNumbers(t, v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			walkNumbers(t, v.Index(i))
		}
	}
}

func twice(t *rapid.T, what string, one, two float64) {
	if math.Abs(two-2*one) > 1e-9*two {
		t.Fatalf("%s: %v of one volume, %v of two", what, one, two)
	}
}

func logDraw(t *rapid.T, name string, lo, hi float64) float64 {
	return math.Exp(rapid.Float64Range(math.Log(lo), math.Log(hi)).Draw(t, name))
}

func drawLabel(t *rapid.T) Label {
	return Label{
		StrengthPercent: rapid.Float64Range(2, 15).Draw(t, "strength"),
		Basis:           rapid.SampledFrom([]Basis{ByWeight, ByVolume, AvailableByWeight, AvailableByVolume}).Draw(t, "basis"),
	}
}

// must is for inputs that are right by the way they were drawn.
func must[T any](t *rapid.T, v T, err error) T {
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestSterilisingIsLinear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		soak := Chlorination{logDraw(t, "L", 0.01, 1e5), drawLabel(t), logDraw(t, "mg/L", 0.1, 1000), UsualContact}
		end := Neutralisation{
			Convention: rapid.SampledFrom([]Convention{"", ToSulfate, ToSulfur, ToTetrathionate}).Draw(t, "convention"),
			Form:       rapid.SampledFrom([]Form{"", Pentahydrate, Anhydrous}).Draw(t, "form"),
			StockGPerL: logDraw(t, "stock", 1, 500),
		}
		one, err := Sterilise(soak, end)
		must(t, one, err)
		sane(t, one, one.Advice)
		soak.WaterL *= 2
		two, err := Sterilise(soak, end)
		must(t, two, err)
		twice(t, "bleach", one.Bleach.BleachML, two.Bleach.BleachML)
		twice(t, "thiosulfate", one.Thiosulfate.Chosen.Grams, two.Thiosulfate.Chosen.Grams)
		twice(t, "solution", one.Thiosulfate.Chosen.StockML, two.Thiosulfate.Chosen.StockML)
		// The bleach brings the chlorine that was asked for.
		if got := one.Bleach.BleachML * one.Bleach.BleachGPerL; math.Abs(got-one.Bleach.ChlorineMg) > 1e-9*got {
			t.Fatalf("%v mg of chlorine for %v", got, one.Bleach.ChlorineMg)
		}
		if overBound := soak.FreeChlorineMgPerL > SafeFreeChlorineMgPerL; overBound && len(one.Bleach.Warnings) == 0 {
			t.Fatal("above the bound and not said")
		}
	})
}

func TestDosingIsLinear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := Dosing{
			CultureL: logDraw(t, "L", 0.01, 1e5), Strength: logDraw(t, "strength", 0.01, 9.9), Diatoms: rapid.Bool().Draw(t, "diatoms"),
			Recipe: rapid.SampledFrom([]Recipe{F2(), L1(), Walne()}).Draw(t, "recipe"),
		}
		one, err := Dose(in)
		must(t, one, err)
		sane(t, one, one.Advice)
		in.CultureL *= 2
		two, err := Dose(in)
		must(t, two, err)
		for i, p := range one.Parts {
			twice(t, p.Part, p.VolumeML, two.Parts[i].VolumeML)
		}
		if !reflect.DeepEqual(one.Finals, two.Finals) {
			t.Fatal("concentrations depend on the volume")
		}
		if in.Strength > SafeStrength && len(one.Warnings) == 0 {
			t.Fatal("above the bound and not said")
		}
		carried, err := Carry(Standing{Dose: one})
		must(t, carried, err)
		sane(t, carried, carried.Advice)
	})
}

func TestVolumesBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		donor := logDraw(t, "donor", 1e4, 1e9)
		in := Inoculation{WorkingL: logDraw(t, "L", 0.01, 1e5), Donor: Density{donor, CellsPerML},
			Wanted: Density{donor * rapid.Float64Range(0.001, 0.999).Draw(t, "share"), CellsPerML}}
		one, err := Inoculate(in)
		must(t, one, err)
		sane(t, one, one.Advice)
		if one.TakeOutL != one.InoculumL || one.InoculumL >= in.WorkingL {
			t.Fatalf("%v L out, %v L in, of %v", one.TakeOutL, one.InoculumL, in.WorkingL)
		}
		// Cells moved are cells there.
		if got := one.InoculumL * donor / in.WorkingL; math.Abs(got-in.Wanted.Value) > 1e-9*got {
			t.Fatalf("starts at %v, wanted %v", got, in.Wanted.Value)
		}
		in.WorkingL *= 2
		two, err := Inoculate(in)
		must(t, two, err)
		twice(t, "inoculum", one.InoculumL, two.InoculumL)

		draw := Draw{WorkingL: in.WorkingL, HarvestL: in.WorkingL * rapid.Float64Range(0.2, 0.99).Draw(t, "harvest"), EveryDays: 2, GrowthPerD: 0.5}
		drawn, err := Harvest(draw)
		must(t, drawn, err)
		sane(t, drawn, drawn.Advice)
		if drawn.RefillL != draw.HarvestL {
			t.Fatal("refill is not what was taken")
		}
	})
}

func TestFeedingIsLinear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := Ration{Animals: logDraw(t, "animals", 1, 1e9), CellsPerAnimalDay: logDraw(t, "cells", 10, 1e8),
			CultureCellsPerML: logDraw(t, "culture", 1e4, 1e9), Days: rapid.Float64Range(0.5, 30).Draw(t, "days")}
		one := must1(t, in, Rationed)
		sane(t, one, one.Advice)
		in.Animals *= 2
		twice(t, "ration", one.CultureL, must1(t, in, Rationed).CultureL)

		tank := TankFeed{TankL: logDraw(t, "tank", 0.1, 1e5), NowCellsPerML: logDraw(t, "now", 1, 1e6), WantedCellsPerML: logDraw(t, "wanted", 10, 1e6), CultureCellsPerML: 1e7}
		before := must1(t, tank, FeedTank)
		sane(t, before, before.Advice)
		tank.TankL *= 2
		twice(t, "tank", before.CultureL, must1(t, tank, FeedTank).CultureL)

		spat := SpatFeed{LiveG: logDraw(t, "g", 0.01, 1e5), OrganicPgPerCell: logDraw(t, "pg", 1, 500), CultureCellsPerML: in.CultureCellsPerML}
		light := must1(t, spat, FeedSpat)
		sane(t, light, light.Advice)
		spat.LiveG *= 2
		twice(t, "spat", light.CultureL, must1(t, spat, FeedSpat).CultureL)
	})
}

func TestAirIsLinear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := Aeration{CultureL: logDraw(t, "L", 0.1, 1e4), AirLPerMin: logDraw(t, "air", 0.01, 1000),
			TempC: rapid.Float64Range(0, 40).Draw(t, "temp"), CO2Ppm: logDraw(t, "ppm", 300, 1e5), DryGPerL: logDraw(t, "dry", 0.001, 10)}
		one := must1(t, in, Aerate)
		sane(t, one, one.Advice)
		in.AirLPerMin *= 2
		twice(t, "carbon", one.CMmolPerLDay, must1(t, in, Aerate).CMmolPerLDay)
		// Growth at that density takes up what the air brings.
		if demand := one.GrowthPerD * in.DryGPerL * CarbonShare / molarCarbon * 1000; math.Abs(demand-one.CMmolPerLDay) > 1e-9*demand {
			t.Fatalf("demand %v, supply %v", demand, one.CMmolPerLDay)
		}
	})
}

func must1[I, O any](t *rapid.T, in I, f func(I) (O, error)) O {
	out, err := f(in)
	return must(t, out, err)
}

// Whatever numbers come, there is an error, or amounts that are amounts.
func TestAnyNumbers(t *testing.T) {
	number := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-10, 1e7),
		rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 5e-324, math.MaxFloat64, -1, 1, 20, 200}))
	rapid.Check(t, func(t *rapid.T) {
		n := func() float64 { return number.Draw(t, "n") }
		any1(t, Chlorination{n(), Label{n(), ByWeight, n()}, n(), time.Duration(rapid.Int64().Draw(t, "contact"))}, Chlorinate)
		any1(t, Neutralisation{WaterL: n(), FreeChlorineMgPerL: n(), Margin: n(), StockGPerL: n()}, Neutralise)
		any1(t, Dosing{CultureL: n(), Recipe: F2(), Strength: n(), AlreadyStrength: n(), Again: true, LabelMLPerL: map[string]float64{"A": n()}}, Dose)
		any1(t, Inoculation{n(), Density{n(), CellsPerML}, Density{n(), CellsPerML}, n()}, Inoculate)
		any1(t, Draw{n(), n(), n(), n()}, Harvest)
		any1(t, Ration{n(), n(), n(), n(), n(), n()}, Rationed)
		any1(t, TankFeed{n(), n(), n(), n(), n()}, FeedTank)
		any1(t, SpatFeed{n(), n(), n(), n(), n()}, FeedSpat)
		any1(t, Aeration{n(), n(), n(), n(), n(), n()}, Aerate)
	})
}

func any1[I, O any](t *rapid.T, in I, f func(I) (O, error)) {
	out, err := f(in)
	if err == nil {
		walkNumbers(t, reflect.ValueOf(out))
		return
	}
	if !reflect.ValueOf(out).IsZero() {
		t.Fatalf("an error and an amount: %+v", out)
	}
}

// Formulas never panic, and what they weigh is a weight.
func TestAnyFormula(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.StringMatching(`[NaPO(H)0-9.C4]{0,14}`).Draw(t, "formula")
		if mass, err := molarMass(f); err == nil && !(mass > 1) {
			t.Fatalf("%q weighs %v", f, mass)
		}
	})
}
