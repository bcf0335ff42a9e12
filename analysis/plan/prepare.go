package plan

import (
	"fmt"
	"time"
)

// SomeMinutes is how long thiosulfate is left before the test at the least:
// common practice says some minutes, the number is our own.
const SomeMinutes = 10 * time.Minute

// Preparation is what is wanted of a vessel that is made ready: a soak of the
// emptied vessel, then the seawater that will hold the culture.
type Preparation struct {
	WaterL         float64 // of the soak and of the seawater alike
	Bleach         Label
	SoakMgPerL     float64 // free chlorine of the soak
	SeawaterMgPerL float64 // and of the seawater
	Contact        time.Duration
	// End says how thiosulfate is reckoned. Its water is not read, and its
	// chlorine only where a test of the seawater found some: 0 means that all
	// that was dosed is neutralised.
	End Neutralisation
}

// Prepared is the whole of it, with the steps in order.
type Prepared struct {
	Soak     Sterilisation
	Seawater Sterilisation
	Steps    []Step
	Advice
}

// Step is one thing to do on the way to a vessel that grows.
type Step struct {
	Kind          string // of the logbook's entry, where it has one: chlorinate, neutralise, ...
	Text          string // what to do, a sentence
	BleachML      float64
	ThiosulfateG  float64
	ThiosulfateML float64       // of the solution; 0: weighed dry
	Wait          time.Duration // before the next step
	Care          Caution       // what goes wrong here most dangerously; may be empty
}

// Prepare plans the cycle of a vessel. Order of the steps: common practice.
func Prepare(in Preparation) (Prepared, error) {
	end := in.End
	end.FreeChlorineMgPerL = 0
	soak, err := Sterilise(Chlorination{in.WaterL, in.Bleach, in.SoakMgPerL, in.Contact}, end)
	if err != nil {
		return Prepared{}, fmt.Errorf("soak of the vessel: %w", err)
	}
	water, err := Sterilise(Chlorination{in.WaterL, in.Bleach, in.SeawaterMgPerL, in.Contact}, in.End)
	if err != nil {
		return Prepared{}, fmt.Errorf("seawater: %w", err)
	}
	return Prepared{Soak: soak, Seawater: water, Steps: append(cleaning(in, soak), seawater(in, water)...),
		// What the soak's thiosulfate leaves over is poured away.
		Advice: Join(soak.Bleach.Advice, Advice{Warnings: soak.Warnings}, water.Advice, Advice{Cautions: []Caution{VentOpen, Electricity, Defer}})}, nil
}

func cleaning(in Preparation, soak Sterilisation) []Step {
	return []Step{
		{Kind: "clean", Text: "Empty the vessel and clean it."},
		{Kind: "chlorinate", Text: "Fill it with water and add the bleach; wet all inner walls, lid and tubing.", BleachML: soak.Bleach.BleachML, Wait: in.Contact, Care: BleachAlone},
		neutralise("Add the thiosulfate and stir.", soak.Thiosulfate.Chosen, SomeMinutes),
		{Kind: "dump", Text: "Empty it."},
		{Kind: "rinse", Text: "Rinse with water until neither bleach nor thiosulfate is left.", Care: AcidAlone},
		{Kind: "acid_rinse", Text: "Rinse with dilute acid after your own protocol, against residue.", Care: AcidIntoWater},
		{Kind: "rinse", Text: "Rinse with water until no acid is left: bleach comes next.", Care: BleachAlone},
		{Kind: "fill", Text: "Refill with seawater."},
	}
}

func seawater(in Preparation, water Sterilisation) []Step {
	bleach := Step{Kind: "chlorinate", Text: "Add bleach again; wet all inner walls, lid and tubing.", BleachML: water.Bleach.BleachML, Wait: in.Contact}
	return append([]Step{bleach}, AfterSoak(water.Thiosulfate)...)
}

// AfterSoak are the steps from the thiosulfate on.
func AfterSoak(thio ThiosulfateDose) []Step {
	return []Step{
		neutralise(fmt.Sprintf("Add the thiosulfate and stir; better %s h with air on, vent open.", short(thio.Test.Wait.Hours())), thio.Chosen, SomeMinutes),
		{Kind: "chlorine_test", Text: fmt.Sprintf("Test for total chlorine by %s: it must find none, below %s mg/L. A strip shows from about %s only. %s",
			thio.Test.BetterMethod, num(thio.Test.TargetMgPerL), num(thio.Test.StripMgPerL), thio.Test.IfPositive), Care: TestAfter},
		{Kind: "dose", Text: "Dose the nutrients."},
		{Kind: "inoculate", Text: "Take out as much as will go in, then inoculate; the air of both vessels is shut meanwhile.", Care: AlcoholDry},
		{Kind: "air", Text: "Open the vent, then the air.", Care: VentOpen},
	}
}

func neutralise(text string, a ThiosulfateAmount, wait time.Duration) Step {
	return Step{Kind: "neutralise", Text: text, ThiosulfateG: a.Grams, ThiosulfateML: a.StockML, Wait: wait}
}
