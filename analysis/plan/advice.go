package plan

import "slices"

// Caution is one sentence of safety that stands beside an amount.
type Caution string

// The cautions. They are reminders, not instructions for use: Defer goes with
// every one of them.
const (
	BleachAlone    Caution = "Bleach never with acid (chlorine gas), ammonia (chloramines) or alcohol."
	AcidAlone      Caution = "Acid never on leftover thiosulfate (sulfur dioxide) nor on leftover bleach (chlorine gas)."
	AcidIntoWater  Caution = "Acid into water, never water into acid: goggles, gloves, fresh air, and a sink that holds no bleach."
	RinseBetween   Caution = "Rinse well with water between bleach, thiosulfate and acid."
	Protect        Caution = "Wear goggles and gloves; ventilate; leave the room if a strong smell appears."
	NoAutoclave    Caution = "Never autoclave or heat what holds bleach."
	TestAfter      Caution = "Test for chlorine after thiosulfate, each time: nothing is inoculated before the test finds none."
	AlcoholDry     Caution = "Alcohol must be dry, on hands and gloves too, before any flame."
	VentOpen       Caution = "Open the vent before air goes onto a closed vessel, and shut the air of both vessels while culture is moved."
	Electricity    Caution = "Keep electricity away from seawater."
	VentilateCO2   Caution = "Where CO2 is added, ventilate and watch the air of the room: CO2 suffocates without warning, and gathers low down."
	Concentrates   Caution = "Nutrient concentrates hold metals: gloves and goggles, nothing of them in food or drains."
	Defer          Caution = "Safety data sheets, local rules and trained staff come before what is said here."
	lookAtCulture  Caution = "Look at the culture first: nothing that is off in colour, smell or under the microscope is fed or passed on."
	neverToAnimals Caution = "Chlorine and thiosulfate are never dosed where animals or cultures are."
)

// Advice is what belongs to an amount besides its number.
type Advice struct {
	Cautions []Caution // the safety of this job, most pressing first
	Warnings []string  // each stated bound that this plan passes, a sentence
	Assumed  []string  // what was taken for granted or left open, a sentence each
}

func (a *Advice) warn(text string)   { a.Warnings = append(a.Warnings, text) }
func (a *Advice) assume(text string) { a.Assumed = append(a.Assumed, text) }

// Join is the advice of several jobs as one, each sentence once. Defer, which
// ends every list of cautions, stays at the end.
func Join(parts ...Advice) Advice {
	var out Advice
	for _, p := range parts {
		out.Cautions = appendNew(out.Cautions, p.Cautions...)
		out.Warnings = appendNew(out.Warnings, p.Warnings...)
		out.Assumed = appendNew(out.Assumed, p.Assumed...)
	}
	if i := slices.Index(out.Cautions, Defer); i >= 0 {
		out.Cautions = append(slices.Delete(out.Cautions, i, i+1), Defer)
	}
	return out
}

func appendNew[T comparable](list []T, more ...T) []T {
	for _, m := range more {
		if !slices.Contains(list, m) {
			list = append(list, m)
		}
	}
	return list
}

func chlorineCautions() []Caution {
	return []Caution{BleachAlone, AcidAlone, RinseBetween, Protect, NoAutoclave, neverToAnimals, Electricity, Defer}
}

func thiosulfateCautions() []Caution {
	return []Caution{TestAfter, AcidAlone, BleachAlone, RinseBetween, Protect, neverToAnimals, Defer}
}
