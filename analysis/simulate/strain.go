package simulate

import (
	"slices"
	"time"
)

// Strain is what the simulator believes of one strain.
type Strain struct {
	Name             string
	MuMax            float64 // gross growth rate at the best light and temperature, 1/d
	Alpha            float64 // rise of the growth rate with light, 1/d per umol m-2 s-1
	IOpt             float64 // best light, umol m-2 s-1
	TMin, TOpt, TMax float64 // cardinal temperatures, degC
	Shade            float64 // light taken away, m2 per g dry weight
	ODPerG           float64 // od in the probe's path, per g dry weight per litre
	Settle           time.Duration
}

// strains: TMin, TOpt, TMax and IOpt of nannochloropsis-oculata are those of
// N. oceanica in Bernard & Remond 2012 (Kooi et al. 2017, supplementary
// table). No set was found for the others; theirs are choices that put TOpt
// into the range that Hoff & Snell's Plankton Culture Manual gives for the
// genus where it gives one. MuMax and Alpha are choices that let a lot darken
// in about a week, far below what Eppley 1972 and Bissinger et al. 2008 allow.
// Shade lies within 0.1 to 0.3 m2/g and ODPerG within 2 to 5 per g/L, the
// spread of the literature (from memory). Settle, the time in which all but a
// third of the cells sink from the probe in still water, is a choice: diatoms
// fast, swimmers slowly.
var strains = []Strain{
	{"tisochrysis-lutea", 1.90, 0.044, 220, 8, 27, 34, 0.22, 3.4, 7 * time.Hour},
	{"tetraselmis-suecica", 1.60, 0.036, 240, 2, 24, 32, 0.16, 2.7, 3 * time.Hour},
	{"chaetoceros-muelleri", 2.40, 0.050, 260, 8, 30, 38, 0.18, 3.0, 4 * time.Hour},
	{"nannochloropsis-oculata", 1.75, 0.044, 203, 0.2, 26.7, 33.3, 0.24, 4.2, 9 * time.Hour},
	{"rhodomonas-salina", 1.65, 0.040, 180, 5, 21, 29, 0.20, 2.8, 4 * time.Hour},
	{"thalassiosira-weissflogii", 1.80, 0.040, 220, 3, 23, 31, 0.17, 2.6, 2 * time.Hour},
}

// otherStrain stands for every strain that is not listed (choice).
var otherStrain = Strain{"", 1.70, 0.040, 220, 4, 25, 33, 0.19, 3.0, 5 * time.Hour}

// Strains lists the strains that the simulator knows.
func Strains() []Strain { return slices.Clone(strains) }

// strainOf returns the strain of that name, or one that stands for all others.
func strainOf(name string) *Strain {
	for i := range strains {
		if strains[i].Name == name {
			return &strains[i]
		}
	}
	return &otherStrain
}
