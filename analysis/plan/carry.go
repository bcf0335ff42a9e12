package plan

import "fmt"

// What dry weight is made of.
const (
	UsualNitrogenShare = 0.063 // of dry weight; Redfield's formula has 6.307 per cent
	RichNitrogenShare  = 0.10  // well fed, from memory
	PoorNitrogenShare  = 0.04  // upper end of starved cells, from memory
	carbonPerP         = 106.0 // mol/mol, Redfield
	siliconPerN        = 1.12  // mol/mol, diatoms; Brzezinski 1985, J. Phycol. 21:347-357, from memory
	carbonPerN         = 106.0 / 16
	seawaterCMmolPerL  = 2.0 // dissolved inorganic carbon of seawater, from memory
	usableCarbonShare  = 0.5 // of that, before the pH is too high; our own bound
	molarNitrogen      = 14.007
)

// Standing is a dosed medium of which the end is asked.
type Standing struct {
	Dose          NutrientDose
	NitrogenShare float64 // of dry weight, 0.02 to 0.15; 0: UsualNitrogenShare
	DryPgPerCell  float64 // 0: not known
}

// Limit is the density at which one nutrient is used up.
type Limit struct {
	Nutrient   Nutrient
	DryGPerL   float64
	Arithmetic string // how it was come by, for people
}

// Carried is the greatest density that a dose carries.
type Carried struct {
	Nitrogen   Limit
	RichGPerL  float64  // if cells stay rich in nitrogen, 10 per cent
	PoorGPerL  float64  // if they stretch it to 4 per cent
	CellsPerML float64  // by nitrogen; 0 where the weight of a cell is not known
	CMmolPerL  float64  // carbon that has to come with the nitrogen, at Redfield's ratio
	Carbon     Limit    // what the seawater's own carbon carries: the rest must come by air
	Phosphorus Limit    // at Redfield's ratio, which cells stretch several times; zero where none was dosed
	Silicon    Limit    // diatoms only; zero where none was dosed
	First      Nutrient // what a culture runs out of first, as far as can be told
	Advice
}

// Carry gives the end of a dose: dry g/L = N mg/L / share / 1000, and the same
// by phosphorus and silicate. What the seawater brings itself is not counted.
func Carry(in Standing) (Carried, error) {
	in.NitrogenShare = or(in.NitrogenShare, UsualNitrogenShare)
	var c checker
	c.within("share of nitrogen", in.NitrogenShare, 0.02, 0.15, "of dry weight")
	c.optional("weight of a cell", in.DryPgPerCell, 0.1, 1e5, "pg")
	n, p, si := in.Dose.In(Nitrogen), in.Dose.In(Phosphorus), in.Dose.In(Silicon)
	if !(n.MgPerL > 0) {
		c.fault("nitrogen dosed", withUnit(n.MgPerL, "mg/L"), "must be above 0: plan the dose first")
	}
	if err := c.err("plan density"); err != nil {
		return Carried{}, err
	}
	out := Carried{
		Nitrogen:  byNitrogen(n.MgPerL, in.NitrogenShare),
		RichGPerL: n.MgPerL / RichNitrogenShare / 1000, PoorGPerL: n.MgPerL / PoorNitrogenShare / 1000,
		CMmolPerL: n.MolPerL * carbonPerN * 1000, First: Nitrogen,
		Carbon: bySeawaterCarbon(),
		Advice: Advice{Cautions: []Caution{Defer}},
	}
	if p.MolPerL > 0 {
		out.Phosphorus = byPhosphorus(p.MolPerL)
	}
	if in.Dose.Diatoms && si.MolPerL > 0 {
		out.Silicon = bySilicon(si.MolPerL, in.NitrogenShare)
		if out.Silicon.DryGPerL < out.Nitrogen.DryGPerL {
			out.First = Silicon
		}
	}
	if in.DryPgPerCell > 0 {
		out.CellsPerML = out.Nitrogen.DryGPerL * 1e9 / in.DryPgPerCell
	}
	out.advise(in.DryPgPerCell)
	return out, nil
}

func (o *Carried) advise(pg float64) {
	o.assume("The seawater's own nutrients are not counted, and light or carbon may end growth before the dose does.")
	if o.Phosphorus.DryGPerL > 0 && o.Phosphorus.DryGPerL < o.Nitrogen.DryGPerL {
		o.assume("By Redfield's ratio phosphorus runs out before nitrogen; cells stretch it several times, so nitrogen is named.")
	}
	if o.First == Silicon {
		o.assume(fmt.Sprintf("Silicate carries %s g/L and nitrogen %s: diatoms end by silicate first.", short(o.Silicon.DryGPerL), short(o.Nitrogen.DryGPerL)))
	}
	if pg > 0 {
		o.assume("Cells are counted by nitrogen and by the weight given for one; tables differ up to three times.")
	}
}

func bySeawaterCarbon() Limit {
	x := seawaterCMmolPerL * usableCarbonShare * molarCarbon / CarbonShare / 1000
	return Limit{Carbon, x, fmt.Sprintf("%s mmol/L C in seawater x %s %% usable x %s mg/mmol / %s %% C = %s g/L",
		num(seawaterCMmolPerL), num(usableCarbonShare*100), num(molarCarbon), num(CarbonShare*100), short(x))}
}

func byNitrogen(mgPerL, share float64) Limit {
	x := mgPerL / share / 1000
	return Limit{Nitrogen, x, fmt.Sprintf("%s mg/L N / %s %% of dry weight = %s g/L", short(mgPerL), short(share*100), short(x))}
}

func byPhosphorus(molPerL float64) Limit {
	x := molPerL * carbonPerP * molarCarbon / CarbonShare
	return Limit{Phosphorus, x, fmt.Sprintf("%s umol/L P x %s C/P x %s g/mol / %s %% C = %s g/L",
		short(molPerL*1e6), num(carbonPerP), num(molarCarbon), num(CarbonShare*100), short(x))}
}

func bySilicon(molPerL, share float64) Limit {
	x := molPerL / siliconPerN * molarNitrogen / share
	return Limit{Silicon, x, fmt.Sprintf("%s umol/L Si / %s Si/N x %s g/mol / %s %% N = %s g/L",
		short(molPerL*1e6), num(siliconPerN), num(molarNitrogen), short(share*100), short(x))}
}
