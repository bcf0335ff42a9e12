package plan_test

import (
	"fmt"

	"github.com/nightshelf/nightshelf/analysis/plan"
)

// 20 L at 25 mg/L take 500 mg of chlorine. Bleach of 5.25 % by volume holds
// 52.5 g/L NaOCl x 0.9525 = 50.0 g/L = 50.0 mg/mL: 10.0 mL. Read by weight,
// with a density of 1.08, it would hold 54.0 mg/mL: 9.3 mL.
func ExampleChlorinate() {
	dose, err := plan.Chlorinate(plan.Chlorination{
		WaterL:             20,
		Bleach:             plan.Label{StrengthPercent: 5.25, Basis: plan.ByVolume},
		FreeChlorineMgPerL: plan.UsualFreeChlorineMgPerL,
		Contact:            plan.UsualContact,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f mL, left for %s\n", dose.BleachML, dose.Contact)
	fmt.Printf("%.1f mL if the label means %s\n", dose.Other.BleachML, dose.Other.Basis)
	fmt.Println(dose.Cautions[0])
	// Output:
	// 10.0 mL, left for 24h0m0s
	// 9.3 mL if the label means per cent sodium hypochlorite by weight
	// Bleach never with acid (chlorine gas), ammonia (chloramines) or alcohol.
}

// 25 mg/L in 20 L are 500 mg of chlorine, 500 / 70.90 = 7.05 mmol. To sulfate
// that is a quarter, 1.763 mmol x 248.172 = 437.5 mg, and with a quarter more
// 547 mg; 2.2 mL of 250 g/L. To tetrathionate it is eight times that, 4.375 g.
func ExampleNeutralise() {
	dose, err := plan.Neutralise(plan.Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, StockGPerL: 250})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, a := range []plan.ThiosulfateAmount{dose.Chosen, dose.Other} {
		fmt.Printf("%s: %.3f g, %.1f mL\n", a.Convention, a.Grams, a.StockML)
	}
	fmt.Printf("then wait %s and test by %s\n", dose.Test.Wait, dose.Test.BetterMethod)
	fmt.Println(dose.Cautions[0])
	// Output:
	// to sulfate: 0.547 g, 2.2 mL
	// to tetrathionate: 4.375 g, 17.5 mL
	// then wait 2h0m0s and test by DPD
	// Test for chlorine after thiosulfate, each time: nothing is inoculated before the test finds none.
}

// A slip of the pen gets a sentence and no amount.
func ExampleSterilise_nonsense() {
	_, err := plan.Sterilise(plan.Chlorination{
		WaterL:             20,
		Bleach:             plan.Label{StrengthPercent: 200, Basis: plan.ByWeight},
		FreeChlorineMgPerL: 25,
		Contact:            plan.UsualContact,
	}, plan.Neutralisation{})
	fmt.Println(err)
	// Output:
	// sterilise: plan chlorination: bleach strength "200 %": must be from 0.1 to 20 %
}

// A label of 0.25 mL/L makes 5 mL of A and of B for 20 L; silicate at 1 mL/L
// makes 20 mL. Nitrate is 75 mg/L / 84.994 g/mol = 0.882 mmol/L, as nitrogen
// 12.36 mg/L.
func ExampleDose() {
	dose, err := plan.Dose(plan.Dosing{
		CultureL: 20, Recipe: plan.F2(), Diatoms: true,
		LabelMLPerL: map[string]float64{"A": 0.25, "B": 0.25},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range dose.Parts {
		fmt.Printf("%s %.1f mL\n", p.Part, p.VolumeML)
	}
	n := dose.In(plan.Nitrogen)
	fmt.Printf("N %.1f umol/L, %.2f mg/L\n", n.MolPerL*1e6, n.MgPerL)
	// Output:
	// A 5.0 mL
	// B 5.0 mL
	// silicate 20.0 mL
	// N 882.4 umol/L, 12.36 mg/L
}

// From 6 million to half a million a millilitre is a twelfth: 18 / 12 = 1.5 L.
func ExampleInoculate() {
	start, err := plan.Inoculate(plan.Inoculation{
		WorkingL: 18,
		Donor:    plan.Density{Value: 6e6, Unit: plan.CellsPerML},
		Wanted:   plan.Density{Value: 5e5, Unit: plan.CellsPerML},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("take out %.2f L of medium, put in %.2f L of culture\n", start.TakeOutL, start.InoculumL)
	// Output:
	// take out 1.50 L of medium, put in 1.50 L of culture
}

// Half a vessel every second day: ln 2 / 2 = 0.347 a day is needed; growing at
// 0.5 a day it is back in ln 2 / 0.5 = 1.39 days.
func ExampleHarvest() {
	drawn, err := plan.Harvest(plan.Draw{WorkingL: 20, HarvestL: 10, EveryDays: 2, GrowthPerD: 0.5})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("needs %.3f a day, back in %.2f days\n", drawn.NeededPerD, drawn.BackInDays)
	// Output:
	// needs 0.347 a day, back in 1.39 days
}

// 2 million rotifers at 100,000 cells are 2e11 cells a day; a culture of 4e7
// cells/mL holds 4e10 a litre: 5 L.
func ExampleRationed() {
	feed, err := plan.Rationed(plan.Ration{Animals: 2e6, CellsPerAnimalDay: 1e5, CultureCellsPerML: 4e7})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f L\n", feed.CultureL)
	// Output:
	// 5.0 L
}

// From nothing to 50,000 in 159 L with a culture of 8 million: the tank grows by
// what goes in, 159 x 0.05 / (8 - 0.05) = 1 L.
func ExampleFeedTank() {
	feed, err := plan.FeedTank(plan.TankFeed{TankL: 159, WantedCellsPerML: 5e4, CultureCellsPerML: 8e6})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f L\n", feed.CultureL)
	// Output:
	// 1.000 L
}

// 2 L/min through 20 L are 0.1 volumes a minute, 144 a day. A litre of air at
// 25 degC holds 420 ppm / 24.465 L/mol = 0.01717 mmol: 2.47 mmol, 29.7 mg of
// carbon, 0.0594 g of dry weight a day, which is 0.59 a day at 0.1 g/L.
func ExampleAerate() {
	air, err := plan.Aerate(plan.Aeration{CultureL: 20, AirLPerMin: 2, TempC: 25, DryGPerL: 0.1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f mmol/L, %.4f g/L dry a day, growth %.2f a day\n", air.CMmolPerLDay, air.DryGPerLDay, air.GrowthPerD)
	// Output:
	// 2.47 mmol/L, 0.0594 g/L dry a day, growth 0.59 a day
}

// 12.36 mg/L of nitrogen at 6.3 % of dry weight are 0.196 g/L; cells of 29.7 pg
// make 0.196e9 / 29.7 = 6.6 million a millilitre of it.
func ExampleCarry() {
	dose, err := plan.Dose(plan.Dosing{CultureL: 20, Recipe: plan.F2()})
	if err != nil {
		fmt.Println(err)
		return
	}
	end, err := plan.Carry(plan.Standing{Dose: dose, DryPgPerCell: 29.7})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(end.Nitrogen.Arithmetic)
	fmt.Printf("%.1f million cells/mL\n", end.CellsPerML/1e6)
	// Output:
	// 12.36 mg/L N / 6.3 % of dry weight = 0.1962 g/L
	// 6.6 million cells/mL
}
