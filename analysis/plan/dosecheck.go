package plan

import (
	"fmt"
	"strings"
)

func (in Dosing) check() error {
	if err := in.Recipe.Check(); err != nil {
		return fmt.Errorf("plan dose: %w", err)
	}
	var c checker
	c.volume("working volume", in.CultureL)
	c.within("strength", in.Strength, 0.001, 10, "times the recipe")
	c.within("strength dosed before", in.AlreadyStrength, 0, 10, "times the recipe")
	for _, name := range sortedKeys(in.LabelMLPerL) {
		c.within("label dose of part "+name, in.LabelMLPerL[name], 0.001, 100, "mL/L")
		in.checkLabelled(name, &c)
	}
	if in.AlreadyStrength > 0 && !in.Again {
		c.fault("dose", withUnit(in.Strength, "times "+in.Recipe.Name),
			fmt.Sprintf("must be said to be a second one: this lot has had %s times %s", num(in.AlreadyStrength), in.Recipe.Name))
	}
	return c.err("plan dose")
}

// checkLabelled demands that a dose by label is for a part that goes in: one
// that were passed over in silence would leave the culture without it.
func (in Dosing) checkLabelled(name string, c *checker) {
	var dosed []string
	for _, p := range in.Recipe.Parts {
		switch {
		case p.Name == name && p.Diatoms && !in.Diatoms:
			c.fault("label dose", name, "is for diatoms, and this is not said to be one")
			return
		case p.Name == name:
			return
		case in.Diatoms || !p.Diatoms:
			dosed = append(dosed, p.Name)
		}
	}
	c.fault("label dose", name, fmt.Sprintf("must name a part of %s: %s", in.Recipe.Name, strings.Join(dosed, ", ")))
}

func (in Dosing) advise(out *NutrientDose) {
	order := "Parts go in after a chlorine test that found none and before the inoculum, in this order"
	if in.Diatoms {
		order += ", silicate last"
	}
	out.assume(order + ".")
	for _, p := range in.parts() {
		if p.Vitamins {
			out.assume(fmt.Sprintf("Part %s holds vitamins: after the autoclave, once cool.", p.Name))
		}
	}
	if in.Recipe.Note != "" {
		out.assume(in.Recipe.Note)
	}
	if in.Diatoms && !in.hasSilicate() {
		out.warn(fmt.Sprintf("%s as given has no part for diatoms: they need silicate.", in.Recipe.Name))
	}
	if len(in.LabelMLPerL) > 0 {
		out.assume("Where a label gives the dose, it is taken to make the recipe's own strength.")
	}
	in.adviseParts(out)
	if out.Strength > SafeStrength {
		out.warn(fmt.Sprintf("%s times %s in all is above %s times: metals and EDTA at that strength can harm the culture.",
			short(out.Strength), in.Recipe.Name, num(SafeStrength)))
	}
	if in.AlreadyStrength > 0 {
		out.warn("This lot was dosed before: the concentrations are of both doses, none of it used up.")
	}
}

// hasSilicate reports whether a part that goes in brings silicon, or is one for
// diatoms of which the salts are not known.
func (in Dosing) hasSilicate() bool {
	for _, p := range in.parts() {
		if p.Diatoms && len(p.Salts) == 0 {
			return true
		}
		for _, s := range p.Salts {
			if s.Gives == Silicon {
				return true
			}
		}
	}
	return false
}

// adviseParts says which doses a label was likely misread for.
func (in Dosing) adviseParts(out *NutrientDose) {
	perL := map[string]float64{}
	for _, p := range out.Parts {
		perL[p.Part] = p.MLPerL
		if p.MLPerL > SafePartMLPerL {
			out.warn(fmt.Sprintf("%s mL/L of part %s is above %s mL/L: read the label again; %s mL for a carboy of 20 L would be %s mL/L.",
				short(p.MLPerL), p.Part, num(SafePartMLPerL), short(p.MLPerL), short(p.MLPerL/20)))
		}
		if len(in.LabelMLPerL) > 0 && !p.ByLabel {
			out.warn(fmt.Sprintf("Part %s is dosed as the recipe's own solution, %s mL/L, and others by their label: right only if it was made up after the recipe.",
				p.Part, short(p.MLPerL)))
		}
	}
	if a, b := perL["A"], perL["B"]; a > 0 && b > 0 && a != b {
		out.warn(fmt.Sprintf("A at %s and B at %s mL/L: the two are usually dosed in equal volumes; read both labels again.", short(a), short(b)))
	}
}
