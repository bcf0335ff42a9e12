package config

import (
	"regexp"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// Recipe is a medium of the house's own.
type Recipe struct {
	Name  string // 1 to 64 bytes, unique, none that is built in
	Parts []Part // at least one, in the order in which they go in
}

// Part is one solution of a recipe.
type Part struct {
	Name        string  // 1 to 64 bytes, unique in its recipe
	MLPerL      float64 // key ml_per_l: for each litre of culture; 0.001 to 100 mL
	DiatomsOnly bool    // key diatoms_only; default false
	Salts       []Salt  // may be empty: then nothing is known of what it brings
}

// Salt is one substance in a part.
type Salt struct {
	Formula string  // as weighed, with its water, such as Na2SiO3.9H2O
	GPerL   float64 // key g_per_l: in the part as it is dosed; 1e-9 to 2000 g/L
	Element string  // that it is there for, such as Si
}

// Bleach is what the bottle of bleach says.
type Bleach struct {
	Percent float64 // 0.1 to 20; 0: not said
	By      string  // weight, volume, available-weight or available-volume
}

// BleachBy are the kinds of per cent that a label may mean.
var BleachBy = []string{"weight", "volume", "available-weight", "available-volume"}

// builtIn are the recipes that cannot be named again, in small letters without
// signs: which of two is meant must never be a question.
var builtIn = []string{"f2", "guillardf2", "l1", "walne", "walnes", "conwy", "conway"}

// bleach reads the label that sterilising goes by where no other is said.
func (d *decoder) bleach(room *block, c *Config) {
	n := room.value("bleach")
	if n == nil {
		return
	}
	b := d.block(n, "bleach")
	if b.number("percent", &c.Bleach.Percent, 0.1, 20, " %"); !b.has("percent") {
		b.missing("percent", "write the strength on the label, such as percent: 5")
	}
	if b.choice("by", &c.Bleach.By, BleachBy...); !b.has("by") {
		b.missing("by", "write what its per cent are of: weight or volume of sodium hypochlorite, available-weight or available-volume of chlorine")
	}
	b.close()
}

// recipes reads the media of the house's own.
func (d *decoder) recipes(room *block, c *Config) {
	lines := map[string]int{}
	for _, n := range room.items("recipes", 100) {
		var r Recipe
		b := d.block(n, "a recipe")
		b.text("name", &r.Name)
		b.name(r.Name, "recipe", 64, lines)
		if slices.Contains(builtIn, strings.NewReplacer(" ", "", "/", "", "-", "", "'", "").Replace(strings.ToLower(r.Name))) {
			b.fault(b.place("name"), "the recipe %s is built in; give yours a name of its own", quoted(r.Name))
		}
		b.parts(&r)
		b.close()
		c.Recipes = append(c.Recipes, r)
	}
}

func (b *block) parts(r *Recipe) {
	n := b.value("parts")
	if n == nil {
		b.missing("parts", "name at least one, such as - {name: A, ml_per_l: 0.25}")
		return
	}
	items := b.items("parts", 20)
	if n.Kind == yaml.SequenceNode && len(items) == 0 {
		b.fault(n, "parts is an empty list; name at least one, such as - {name: A, ml_per_l: 0.25}")
	}
	lines := map[string]int{}
	for _, item := range items {
		var p Part
		one := b.decoder.block(item, "a part")
		one.text("name", &p.Name)
		one.name(p.Name, "part", 64, lines)
		if one.number("ml_per_l", &p.MLPerL, 0.001, 100, " mL a litre"); !one.has("ml_per_l") {
			one.missing("ml_per_l", "write how many mL go into a litre of culture; 5 mL for 20 L are 0.25")
		}
		one.yes("diatoms_only", &p.DiatomsOnly)
		for _, s := range one.items("salts", 50) {
			p.Salts = append(p.Salts, b.salt(s))
		}
		one.close()
		r.Parts = append(r.Parts, p)
	}
}

func (d *decoder) salt(n *yaml.Node) Salt {
	var s Salt
	b := d.block(n, "a salt")
	if read(b, "formula", &s.Formula, formula); !b.has("formula") {
		b.missing("formula", "write it as weighed, with its water, such as Na2SiO3.9H2O")
	}
	if b.number("g_per_l", &s.GPerL, 1e-9, 2000, " g/L"); !b.has("g_per_l") {
		b.missing("g_per_l", "write how much of it is in a litre of the part")
	}
	at := read(b, "element", &s.Element, element)
	if !b.has("element") {
		b.missing("element", "write what it is there for, such as element: N")
	}
	if at != nil && s.Formula != "" && !slices.Contains(symbol.FindAllString(s.Formula, -1), s.Element) {
		b.fault(at, "element %s is not in the formula %s", quoted(s.Element), quoted(s.Formula))
	}
	b.close()
	return s
}

// elements are those that media are made of.
var elements = strings.Fields("H B C N O Na Mg Si P S Cl K Ca V Cr Mn Fe Co Ni Cu Zn Se Mo")

var (
	symbol = regexp.MustCompile(`[A-Z][a-z]?`)
	// formulaForm is a formula with brackets one deep and water behind a dot.
	formulaForm = regexp.MustCompile(`^([0-9]{0,3}([A-Z][a-z]?[0-9]{0,3}|\(([A-Z][a-z]?[0-9]{0,3})+\)[0-9]{0,3})+)([.·][0-9]{0,3}([A-Z][a-z]?[0-9]{0,3}|\(([A-Z][a-z]?[0-9]{0,3})+\)[0-9]{0,3})+)*$`)
)

func formula(s string) (string, error) {
	if len(s) > 64 || !formulaForm.MatchString(s) {
		return "", sentence("must be such as NaNO3 or Na2SiO3.9H2O, not %s", quoted(s))
	}
	for _, e := range symbol.FindAllString(s, -1) {
		if !slices.Contains(elements, e) {
			return "", sentence("%s holds %s, which is no element of media here; known are %s", quoted(s), quoted(e), strings.Join(elements, ", "))
		}
	}
	return s, nil
}

func element(s string) (string, error) {
	if !slices.Contains(elements, s) {
		return "", sentence("must be the sign of one of %s, not %s", strings.Join(elements, ", "), quoted(s))
	}
	return s, nil
}
