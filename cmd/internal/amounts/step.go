package amounts

import (
	"fmt"
	"strings"

	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
)

// Step is what one step takes, for people: amounts first, then what they rest
// on, and the cautions that belong to them.
type Step struct {
	Lines    []string
	Cautions []string
}

// Vessel is what a step is reckoned for.
type Vessel struct {
	LitresL     float64
	Medium      string  // empty: the house's first recipe, else f/2
	Strain      string  // empty: not known, so no silicate
	DosedMgPerL float64 // chlorine that was dosed, as written; 0: what is usual
	FoundMgPerL float64 // chlorine that a test found; 0: all that is usually dosed
}

// For returns what a step takes; none for a step that takes no amount.
func For(room *config.Config, v Vessel, kind ingest.Kind) Step {
	var s Step
	var err error
	switch {
	case !(v.LitresL > 0):
		return s
	case kind == ingest.Chlorinate:
		s, err = bleach(room, v)
	case kind == ingest.Neutralise:
		s, err = thiosulfate(v)
	case kind == ingest.Dose:
		s, err = dose(room, v)
	}
	if err != nil {
		return Step{Lines: []string{"No amount: " + err.Error() + "."}}
	}
	return s
}

func bleach(room *config.Config, v Vessel) (Step, error) {
	if room.Bleach.Percent == 0 {
		return Step{Lines: []string{"Put the label of your bleach into the configuration (bleach: percent, by), or ask nightshelf sterilise."}}, nil
	}
	d, err := plan.Chlorinate(plan.Chlorination{WaterL: v.LitresL, Bleach: Bleach(room.Bleach),
		FreeChlorineMgPerL: plan.UsualFreeChlorineMgPerL, Contact: plan.UsualContact})
	if err != nil {
		return Step{}, err
	}
	return step(d.Advice,
		fmt.Sprintf("%s of bleach for %s L: %s mg/L of free chlorine, for %s.", Millilitres(d.BleachML), Digits(v.LitresL),
			Digits(d.FreeChlorineMgPerL), hours(d.Contact.Hours())),
		fmt.Sprintf("The label is read as %s %% %s.", Digits(room.Bleach.Percent), strings.TrimPrefix(string(Bleach(room.Bleach).Basis), "per cent "))), nil
}

func thiosulfate(v Vessel) (Step, error) {
	in := plan.Neutralisation{WaterL: v.LitresL, FreeChlorineMgPerL: plan.UsualFreeChlorineMgPerL, StockGPerL: usualStock}
	plans, why := plan.Neutralise, "for all of the chlorine that is usually dosed"
	if v.DosedMgPerL > 0 {
		in.FreeChlorineMgPerL, why = v.DosedMgPerL, "for all of the chlorine that was dosed"
	}
	if v.FoundMgPerL > 0 {
		in.FreeChlorineMgPerL = v.FoundMgPerL
		plans, why = plan.NeutraliseFound, "for the chlorine that the test found"
	}
	d, err := plans(in)
	if err == nil && d.Chosen.StockML < leastStockML { // no syringe measures that
		in.StockGPerL = usualStock / 10
		d, err = plans(in)
	}
	if err != nil {
		return Step{}, err
	}
	return step(d.Advice,
		fmt.Sprintf("%s of a solution with %d g of thiosulfate crystals in a litre (%s of crystals), %s, %s mg/L.", Millilitres(d.Chosen.StockML),
			int(in.StockGPerL), Grams(d.Chosen.Grams), why, Digits(in.FreeChlorineMgPerL)),
		fmt.Sprintf("Reckoned to sulfate with %s times the need; to tetrathionate it would be %s. The test decides, never the amount.",
			Digits(d.Margin), Grams(d.Other.Grams))), nil
}

// usualStock is a solution of a mole in a litre, as handbooks make it, g/L.
const usualStock = 250.0

// leastStockML is from how little on a tenth as strong a solution is used.
const leastStockML = 0.5

// Chlorine is what so much of the house's bleach makes in so much water, mg/L;
// 0 where its label is not known.
func Chlorine(room *config.Config, bleachML, litres float64) float64 {
	gPerL, err := Bleach(room.Bleach).ChlorineGPerL()
	if err != nil || !(litres > 0) {
		return 0
	}
	return gPerL * bleachML / litres
}

func dose(room *config.Config, v Vessel) (Step, error) {
	name := v.Medium
	if name == "" && len(room.Recipes) > 0 {
		name = room.Recipes[0].Name
	}
	if name == "" {
		name = "f/2"
	}
	r, own, err := Find(room, name)
	if err != nil {
		return Step{}, err
	}
	diatom, known := plan.Diatom(v.Strain)
	d, err := plan.Dose(plan.Dosing{CultureL: v.LitresL, Recipe: r, Diatoms: diatom})
	if err != nil {
		return Step{}, err
	}
	var parts []string
	for _, p := range d.Parts {
		parts = append(parts, p.Part+" "+Millilitres(p.VolumeML))
	}
	lines := []string{fmt.Sprintf("%s for %s L of %s.", strings.Join(parts, ", "), Digits(v.LitresL), r.Name)}
	if !own {
		lines = append(lines, "For solutions made up after the recipe; a bottle that was bought goes by its label.")
	}
	if !known {
		lines = append(lines, "Silicate too, and last, if it is to be a diatom.")
	}
	return step(d.Advice, lines...), nil
}

func step(a plan.Advice, lines ...string) Step {
	s := Step{Lines: append(lines, a.Warnings...)}
	for _, c := range a.Cautions {
		s.Cautions = append(s.Cautions, string(c))
	}
	return s
}

func hours(h float64) string { return Digits(h) + " h" }
