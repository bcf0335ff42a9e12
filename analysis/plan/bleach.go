package plan

import (
	"fmt"
	"slices"
)

// Basis says what the per cent on a bottle of bleach are of.
type Basis string

// The ways a label gives its strength. One number means up to 30 per cent more
// chlorine in one of them than in another, so that a label must be read for
// which it is.
const (
	ByWeight          Basis = "per cent sodium hypochlorite by weight" // g NaOCl in 100 g
	ByVolume          Basis = "per cent sodium hypochlorite by volume" // g NaOCl in 100 mL
	AvailableByWeight Basis = "per cent available chlorine by weight"  // g Cl2 in 100 g
	AvailableByVolume Basis = "per cent available chlorine by volume"  // g Cl2 in 100 mL, trade per cent
)

const (
	molarCl2          = 70.90                 // g/mol
	molarNaOCl        = 74.439                // g/mol
	availablePerNaOCl = molarCl2 / molarNaOCl // g Cl2 per g NaOCl, 0.9525
	leastStrength     = 0.1                   // per cent; weaker is water
	greatestStrength  = 20.0                  // per cent; nothing stronger keeps
	householdStrength = 9.0                   // per cent; household bleach is 3 to 9 (CCOHS)
	leastDensity      = 1.0                   // kg/L
	greatestDensity   = 1.35                  // kg/L
)

// Label is what the bottle of bleach says.
type Label struct {
	StrengthPercent float64 // 0.1 to 20
	Basis           Basis
	DensityKgPerL   float64 // 1 to 1.35; 0: not said, the usual one of its strength
}

// bases are all of them, in the order in which they are shown.
var bases = []Basis{ByWeight, ByVolume, AvailableByWeight, AvailableByVolume}

// densities are specific gravities by per cent NaOCl by weight, from memory. A
// sheet of 1.16 for 12.5 per cent (read) means trade per cent, which is 11.4
// by weight (computed).
var densities = []struct{ percent, kgPerL float64 }{
	{0, 1.00}, {3, 1.04}, {5, 1.07}, {5.25, 1.08}, {6, 1.09}, {8.25, 1.11}, {10, 1.16}, {12.5, 1.20}, {20, 1.32},
}

// usualDensity is the usual density of bleach, kg/L, of a strength in per cent
// NaOCl by weight, interpolated; the ends hold beyond them.
func usualDensity(percent float64) float64 {
	last := densities[0]
	for _, d := range densities {
		if percent <= d.percent {
			if d.percent == last.percent {
				return d.kgPerL
			}
			share := (percent - last.percent) / (d.percent - last.percent)
			return last.kgPerL + share*(d.kgPerL-last.kgPerL)
		}
		last = d
	}
	return last.kgPerL
}

// ChlorineGPerL is the available chlorine of the bleach as Cl2, g/L.
func (l Label) ChlorineGPerL() (float64, error) {
	var c checker
	l.check(&c)
	if err := c.err("read bleach label"); err != nil {
		return 0, err
	}
	return l.chlorine(), nil
}

func (l Label) chlorine() float64 {
	g := 10 * l.StrengthPercent
	if l.Basis == ByWeight || l.Basis == AvailableByWeight {
		g *= l.density()
	}
	if l.Basis == ByWeight || l.Basis == ByVolume {
		g *= availablePerNaOCl
	}
	return g
}

// density is wanted for the two kinds of per cent by weight only.
func (l Label) density() float64 {
	percent := l.StrengthPercent
	if l.Basis == AvailableByWeight {
		percent /= availablePerNaOCl
	}
	return or(l.DensityKgPerL, usualDensity(percent))
}

// readAs is the same label, meant otherwise.
func (l Label) readAs(b Basis) Label {
	l.Basis = b
	return l
}

// counterpart is the kind of per cent that a basis is most often mistaken for.
var counterpart = map[Basis]Basis{
	ByWeight: ByVolume, ByVolume: ByWeight, AvailableByWeight: AvailableByVolume, AvailableByVolume: AvailableByWeight,
}

func (l Label) check(c *checker) {
	c.within("bleach strength", l.StrengthPercent, leastStrength, greatestStrength, "%")
	if !slices.Contains(bases, l.Basis) {
		c.fault("basis of the strength", string(l.Basis),
			fmt.Sprintf("must be %q, %q, %q or %q", ByWeight, ByVolume, AvailableByWeight, AvailableByVolume))
	}
	c.optional("bleach density", l.DensityKgPerL, leastDensity, greatestDensity, "kg/L")
}

func (l Label) advise(a *Advice) {
	a.assume(fmt.Sprintf("The label is read as %s.", l.Basis))
	a.assume("Bleach loses strength on the shelf, faster when strong, warm or lit: the label is the most it can hold.")
	if l.DensityKgPerL == 0 && (l.Basis == ByWeight || l.Basis == AvailableByWeight) {
		a.assume(fmt.Sprintf("The density of the bleach is taken as %s kg/L, usual for its strength.", short(l.density())))
	}
	if l.StrengthPercent > householdStrength {
		a.warn(fmt.Sprintf("%s %% is stronger than household bleach (3 to 9 %%): trade bleach burns, ages fast and needs its own safety data sheet.",
			num(l.StrengthPercent)))
	}
}
