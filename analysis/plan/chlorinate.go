package plan

import (
	"fmt"
	"time"
)

// What is usual, and beyond what a plan says so. Seawater: 0.5 mL/L of laundry
// bleach, 25 mg/L, for at least 6 h, better 12 to 24 h (a supplier's
// protocol); 1 to 5 mL/L of 5 per cent bleach, up to 238 mg/L (Creswell 2010,
// SRAC 5004, by its volumes: the level it prints does not fit them); 1 to
// 2 mg/L for 24 h (FAO Fisheries Technical Paper 361, section 2.3.4).
const (
	UsualFreeChlorineMgPerL = 25.0
	UsualContact            = 24 * time.Hour

	LeastFreeChlorineMgPerL = 1.0   // below it nothing published sterilises
	SafeFreeChlorineMgPerL  = 250.0 // above the greatest usual dose
	ShortContact            = 6 * time.Hour
	// greatestChlorine is bleach 1 to 10, for surfaces (Stanford EHS): no
	// vessel of seawater is treated like that.
	greatestChlorine = 5000.0
	greatestContact  = 30 * 24 * time.Hour
)

// Chlorination is what is wanted of the bleach.
type Chlorination struct {
	WaterL             float64 // with the bleach in it
	Bleach             Label
	FreeChlorineMgPerL float64 // as Cl2; UsualFreeChlorineMgPerL where nothing speaks for another
	Contact            time.Duration
}

// BleachDose is how much bleach that takes.
type BleachDose struct {
	BleachML           float64
	BleachMLPerL       float64   // mL of bleach for each litre of water
	ChlorineMg         float64   // as Cl2, in all
	BleachGPerL        float64   // strength of the bleach as Cl2
	Basis              Basis     // as which the label was read
	Other              Reading   // by weight for by volume, or the other way round
	Readings           []Reading // every way to read the label, the one chosen among them
	FreeChlorineMgPerL float64
	Contact            time.Duration
	Advice
}

// Reading is what a label means if its per cent are of one kind.
type Reading struct {
	Basis    Basis
	BleachML float64 // what would have to go in
	MgPerL   float64 // free chlorine that the amount of the plan makes, if this is what the label means
}

// Chlorinate gives the bleach for a water volume: mL = mg/L * L / (g/L),
// demand of the water itself not counted.
func Chlorinate(in Chlorination) (BleachDose, error) {
	var c checker
	in.check(&c)
	if err := c.err("plan chlorination"); err != nil {
		return BleachDose{}, err
	}
	mg := in.FreeChlorineMgPerL * in.WaterL
	out := BleachDose{
		ChlorineMg: mg, BleachGPerL: in.Bleach.chlorine(),
		Basis: in.Bleach.Basis, FreeChlorineMgPerL: in.FreeChlorineMgPerL, Contact: in.Contact,
		Advice: Advice{Cautions: chlorineCautions()},
	}
	out.BleachML = mg / out.BleachGPerL
	out.BleachMLPerL = out.BleachML / in.WaterL
	out.Other = in.reading(counterpart[in.Bleach.Basis])
	for _, b := range bases {
		out.Readings = append(out.Readings, in.reading(b))
	}
	in.advise(&out.Advice)
	return out, nil
}

func (in Chlorination) reading(b Basis) Reading {
	strength := in.Bleach.readAs(b).chlorine()
	return Reading{Basis: b, BleachML: in.FreeChlorineMgPerL * in.WaterL / strength,
		MgPerL: in.FreeChlorineMgPerL * strength / in.Bleach.chlorine()}
}

func (in Chlorination) check(c *checker) {
	c.volume("water volume", in.WaterL)
	in.Bleach.check(c)
	c.within("free chlorine", in.FreeChlorineMgPerL, 0.01, greatestChlorine, "mg/L")
	if in.Contact <= 0 || in.Contact > greatestContact {
		c.fault("contact time", in.Contact.String(), "must be above 0 and at most 30 days")
	}
	if len(c.faults) == 0 && in.FreeChlorineMgPerL/1000 >= in.Bleach.chlorine()/2 {
		c.fault("free chlorine", withUnit(in.FreeChlorineMgPerL, "mg/L"),
			fmt.Sprintf("must stay below half of the bleach itself, %s mg/L", num(in.Bleach.chlorine()*1000/2)))
	}
}

func (in Chlorination) advise(a *Advice) {
	in.Bleach.advise(a)
	a.assume("Organic matter and ammonia in the water use up chlorine: what stays free is less than what was dosed.")
	switch {
	case in.FreeChlorineMgPerL > SafeFreeChlorineMgPerL:
		a.warn(fmt.Sprintf("%s mg/L is above %s mg/L, the most that is usual for seawater: check the number; more bleach needs more thiosulfate and more air.",
			num(in.FreeChlorineMgPerL), num(SafeFreeChlorineMgPerL)))
	case in.FreeChlorineMgPerL < LeastFreeChlorineMgPerL:
		a.warn(fmt.Sprintf("%s mg/L is below %s mg/L, the least that is published for seawater: it may not sterilise.",
			num(in.FreeChlorineMgPerL), num(LeastFreeChlorineMgPerL)))
	}
	if in.Contact < ShortContact {
		a.warn(fmt.Sprintf("%s h is short: at least 6 h is advised, better 12 to 24 h.", short(in.Contact.Hours())))
	}
	if in.Contact < UsualContact && in.FreeChlorineMgPerL <= 2 {
		a.warn("At 1 to 2 mg/L the published contact is 24 h.")
	}
}
