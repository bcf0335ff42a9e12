package amounts

import (
	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/config"
)

// BleachBases are the words of the configuration for what the per cent on a
// bottle of bleach are of.
var BleachBases = map[string]plan.Basis{
	"weight": plan.ByWeight, "volume": plan.ByVolume,
	"available-weight": plan.AvailableByWeight, "available-volume": plan.AvailableByVolume,
}

// Bleach is the label of the house's bleach.
func Bleach(b config.Bleach) plan.Label {
	return plan.Label{StrengthPercent: b.Percent, Basis: BleachBases[b.By]}
}

// Recipe is a recipe of the house's own.
func Recipe(r config.Recipe) plan.Recipe {
	out := plan.Recipe{Name: r.Name}
	for _, p := range r.Parts {
		part := plan.Part{Name: p.Name, MLPerL: p.MLPerL, Diatoms: p.DiatomsOnly}
		for _, s := range p.Salts {
			part.Salts = append(part.Salts, plan.Salt{Formula: s.Formula, GPerL: s.GPerL, Gives: plan.Nutrient(s.Element)})
		}
		out.Parts = append(out.Parts, part)
	}
	return out
}

// Find returns the recipe of that name, the house's own before those that are
// built in; own says which it is.
func Find(room *config.Config, name string) (r plan.Recipe, own bool, err error) {
	for _, r := range room.Recipes {
		if r.Name == name {
			return Recipe(r), true, nil
		}
	}
	r, err = plan.RecipeNamed(name)
	return r, false, err
}
