package plan

import (
	"fmt"
	"strings"
)

// How far a dose may be from its recipe before it is asked about. A recipe of
// the house's own is the bottle on its shelf; of a recipe from the books the
// stock may be any, since bottles that are bought are several times stronger.
const (
	ownWithin  = 0.25
	bookAtMost = 1.5
)

// Misfit says why parts, mL by name in any case, do not fit so many litres of
// a recipe, in a sentence; empty if they do. Own says that the recipe is the
// house's, so that its bottles are known, whole that no more parts are to come.
func Misfit(r Recipe, own bool, strain string, litres float64, partsML map[string]float64, whole bool) string {
	diatom, known := Diatom(strain)
	for _, p := range r.Parts {
		ml, dosed := partML(partsML, p.Name)
		want := p.MLPerL * litres
		switch {
		case p.Diatoms && dosed && known && !diatom:
			return fmt.Sprintf("%s is no diatom and needs no %s.", strain, p.Name)
		case !dosed && !whole:
		case p.Diatoms && !dosed && known && diatom:
			return fmt.Sprintf("%s is a diatom and needs %s too.", strain, p.Name)
		case p.Diatoms && !dosed:
		case own && !dosed:
			return fmt.Sprintf("Part %s of %s is missing.", p.Name, r.Name)
		case own && (ml < want*(1-ownWithin) || ml > want*(1+ownWithin)), !own && ml > want*bookAtMost:
			return fmt.Sprintf("%s mL of part %s are not what %s takes for %s L: %s mL.", short(ml), p.Name, r.Name, short(litres), short(want))
		}
	}
	return ""
}

func partML(partsML map[string]float64, name string) (ml float64, ok bool) {
	for part, v := range partsML {
		if strings.EqualFold(part, name) {
			ml, ok = ml+v, true
		}
	}
	return ml, ok
}
