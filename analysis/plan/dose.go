package plan

import (
	"fmt"
)

// SafeStrength is how often a recipe's own strength may be dosed before a plan
// says so: twice f/2 is f, the strongest of its family.
const SafeStrength = 2.0

// SafePartMLPerL is the most of one part, mL a litre for the recipe's own
// strength, before a plan says so: all recipes here take 2 or less. The slip it
// is for is the dose of a whole carboy (5 mL for 20 L) read as that of a litre.
const SafePartMLPerL = 2.0

// Dosing is what is wanted of the nutrients.
type Dosing struct {
	CultureL float64 // working volume
	Recipe   Recipe
	Strength float64 // times the recipe's own, up to 10; 0: once
	Diatoms  bool    // silicate too
	// LabelMLPerL is the dose by the label of the bottle, for the recipe's own
	// strength, by part: {"A": 0.25, "B": 0.25}. Parts not named: the recipe's.
	LabelMLPerL map[string]float64
	// AlreadyStrength is what this lot has had, times the recipe's own. Unless
	// Again is said, a lot that has had some is dosed no more.
	AlreadyStrength float64
	Again           bool
}

// PartVolume is how much of one part goes in.
type PartVolume struct {
	Part     string
	VolumeML float64
	MLPerL   float64 // for the recipe's own strength
	ByLabel  bool    // or by the recipe
}

// Final is the concentration of one nutrient from all that was dosed, the
// seawater's own not counted.
type Final struct {
	Nutrient Nutrient
	MolPerL  float64
	MgPerL   float64 // of the element, or of the molecule as weighed
}

// NutrientDose is what goes into the vessel, in the order in which it goes.
type NutrientDose struct {
	Recipe   string
	Diatoms  bool
	Strength float64 // with what was dosed before
	Parts    []PartVolume
	Finals   []Final
	Advice
}

// Dose gives the parts of a recipe for a working volume: mL = mL/L * L * strength.
func Dose(in Dosing) (NutrientDose, error) {
	in.Strength = or(in.Strength, 1)
	if err := in.check(); err != nil {
		return NutrientDose{}, err
	}
	out := NutrientDose{
		Recipe: in.Recipe.Name, Diatoms: in.Diatoms, Strength: in.Strength + in.AlreadyStrength,
		Advice: Advice{Cautions: []Caution{Concentrates, Electricity, Defer}},
	}
	for _, p := range in.parts() {
		perL, labelled := in.LabelMLPerL[p.Name]
		if !labelled {
			perL = p.MLPerL
		}
		out.Parts = append(out.Parts, PartVolume{p.Name, perL * in.CultureL * in.Strength, perL, labelled})
	}
	finals, err := in.finals(out.Strength)
	if err != nil {
		return NutrientDose{}, fmt.Errorf("plan dose: %w", err)
	}
	out.Finals = finals
	in.advise(&out)
	return out, nil
}

// In returns the final concentration of a nutrient; zero if none was dosed.
func (d NutrientDose) In(n Nutrient) Final {
	for _, f := range d.Finals {
		if f.Nutrient == n {
			return f
		}
	}
	return Final{Nutrient: n}
}

// parts are those that are dosed: silicate for diatoms only.
func (in Dosing) parts() []Part {
	var out []Part
	for _, p := range in.Recipe.Parts {
		if in.Diatoms || !p.Diatoms {
			out = append(out, p)
		}
	}
	return out
}

// finals follow the recipe, not the label: a label's mL/L stand for the
// recipe's own strength.
func (in Dosing) finals(strength float64) ([]Final, error) {
	var out []Final
	index := map[Nutrient]int{}
	for _, p := range in.parts() {
		for _, s := range p.Salts {
			perGram, err := s.molesPerGram()
			if err != nil {
				return nil, err
			}
			grams := s.GPerL * p.MLPerL / 1000 * strength
			f := Final{Nutrient: s.Gives, MolPerL: grams * perGram, MgPerL: grams * 1000}
			if s.Gives.element() {
				f.MgPerL = f.MolPerL * atomicMass[string(s.Gives)] * 1000
			}
			if i, ok := index[s.Gives]; ok {
				out[i].MolPerL += f.MolPerL
				out[i].MgPerL += f.MgPerL
				continue
			}
			index[s.Gives] = len(out)
			out = append(out, f)
		}
	}
	return out, nil
}
