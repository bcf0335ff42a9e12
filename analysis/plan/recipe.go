package plan

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Nutrient is what a salt of a recipe gives: an element by its symbol, or a
// whole molecule by its name.
type Nutrient string

// The nutrients with a name of their own here; other elements go by their symbol.
const (
	Nitrogen   Nutrient = "N"
	Phosphorus Nutrient = "P"
	Silicon    Nutrient = "Si"
	Carbon     Nutrient = "C" // not dosed: it comes with seawater and air
	Iron       Nutrient = "Fe"
	EDTA       Nutrient = "EDTA"
	Thiamine   Nutrient = "vitamin B1 (thiamine HCl)"
	Biotin     Nutrient = "vitamin H (biotin)"
	Cobalamin  Nutrient = "vitamin B12"
)

// Salt is one substance in a part of a recipe.
type Salt struct {
	Formula string  // as weighed, with its water: "Na2SiO3.9H2O"
	GPerL   float64 // in the part as it is dosed
	Gives   Nutrient
}

// Part is one solution that is dosed: A, B, silicate or vitamins.
type Part struct {
	Name     string
	MLPerL   float64 // for each litre of culture at the recipe's own strength
	Diatoms  bool    // for diatoms only
	Salts    []Salt
	Vitamins bool // spoils in heat: after the autoclave
}

// Recipe is a medium as parts to be dosed into seawater.
type Recipe struct {
	Name  string
	Parts []Part
	Note  string // what a person should know of its amounts, a sentence; may be empty
}

// RecipeNamed finds a recipe that is built in: f/2, L1 or Walne, however it
// is spelled ("F2", "Guillard f/2", "Conwy").
func RecipeNamed(name string) (Recipe, error) {
	key := strings.NewReplacer(" ", "", "/", "", "-", "", "'", "").Replace(strings.ToLower(name))
	switch strings.TrimPrefix(key, "guillard") {
	case "f2":
		return F2(), nil
	case "l1":
		return L1(), nil
	case "walne", "walnes", "conwy", "conway":
		return Walne(), nil
	}
	return Recipe{}, &InputError{Name: "medium", Given: name, Need: "must be f/2, L1 or Walne, or one of your own from the configuration"}
}

// Check reports what is wrong with a recipe, such as one of somebody's own.
func (r Recipe) Check() error {
	var c checker
	if len(r.Parts) == 0 {
		c.fault("recipe", r.Name, "must have at least one part")
	}
	seen := map[string]bool{}
	for _, p := range r.Parts {
		if p.Name == "" || seen[p.Name] {
			c.fault("part", p.Name, "must have a name of its own")
		}
		seen[p.Name] = true
		p.check(&c)
	}
	return c.err(fmt.Sprintf("recipe %q", r.Name))
}

func (p Part) check(c *checker) {
	c.within("dose of part "+p.Name, p.MLPerL, 0.001, 100, "mL/L")
	for _, s := range p.Salts {
		c.within(fmt.Sprintf("%s in part %s", s.Formula, p.Name), s.GPerL, 1e-9, 2000, "g/L")
		if _, err := s.molesPerGram(); err != nil {
			c.faults = append(c.faults, err)
		}
	}
}

// molesPerGram is how much of its nutrient a gram of the salt gives: of an
// element as many as its formula has atoms, of a molecule one.
func (s Salt) molesPerGram() (float64, error) {
	counts, err := atoms(s.Formula)
	if err != nil {
		return 0, err
	}
	mass, err := molarMass(s.Formula)
	if err != nil {
		return 0, err
	}
	if !s.Gives.element() {
		return 1 / mass, nil
	}
	if counts[string(s.Gives)] == 0 {
		return 0, &InputError{Name: "salt", Given: s.Formula, Need: fmt.Sprintf("must hold %q, which it is said to give", string(s.Gives))}
	}
	return float64(counts[string(s.Gives)]) / mass, nil
}

func (n Nutrient) element() bool { return atomicMass[string(n)] > 0 }

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
