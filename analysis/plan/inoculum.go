package plan

import "fmt"

// DensityUnit says in what a density is given.
type DensityUnit string

// The units of density.
const (
	CellsPerML DensityUnit = "cells/mL"
	OD         DensityUnit = "od above blank"
)

// Density is how thick a culture is.
type Density struct {
	Value float64
	Unit  DensityUnit
}

// Shares of the volume that are usual for an inoculum (hatchery practice,
// from memory: 10 to 20 per cent of the new volume).
const (
	UsualShare    = 0.10
	LeastShare    = 0.02 // below it a start is slow and bacteria gain on it; our own bound
	GreatestShare = 0.20
)

// Inoculation is what is wanted of a start.
type Inoculation struct {
	WorkingL    float64 // volume of the vessel before and after
	Donor       Density
	Wanted      Density // right after inoculation; Value 0: UsualShare of the volume instead
	DonorSpareL float64 // what the donor can give; 0: not said
}

// Inoculum is how much goes in, and how much comes out first.
type Inoculum struct {
	InoculumL      float64
	TakeOutL       float64 // sterile medium out beforehand, the same volume
	Share          float64 // of the working volume, 0 to 1
	Start          Density // density right after
	NewMediumShare float64 // of the medium dosed that stays, 0 to 1
	Advice
}

// Inoculate gives the inoculum for a starting density:
// litres = working volume * wanted / donor, and as much medium out before it.
func Inoculate(in Inoculation) (Inoculum, error) {
	var c checker
	in.check(&c)
	if err := c.err("plan inoculation"); err != nil {
		return Inoculum{}, err
	}
	share := in.share()
	litres := share * in.WorkingL
	out := Inoculum{
		InoculumL: litres, TakeOutL: litres, Share: share, NewMediumShare: 1 - share,
		Start:  Density{share * in.Donor.Value, in.Donor.Unit},
		Advice: Advice{Cautions: []Caution{TestAfter, lookAtCulture, AlcoholDry, VentOpen, Electricity, Defer}},
	}
	in.advise(&out)
	return out, nil
}

func (in Inoculation) share() float64 {
	if in.Wanted.Value == 0 {
		return UsualShare
	}
	return in.Wanted.Value / in.Donor.Value
}

func (in Inoculation) check(c *checker) {
	c.volume("working volume", in.WorkingL)
	in.Donor.check("density of the donor", c)
	c.optional("what the donor can give", in.DonorSpareL, leastVolumeL, greatestVolumeL, "L")
	if in.Wanted.Value != 0 {
		in.Wanted.check("wanted density", c)
		if in.Wanted.Unit != in.Donor.Unit {
			c.fault("wanted density", withUnit(in.Wanted.Value, string(in.Wanted.Unit)),
				fmt.Sprintf("must be in %s as the donor's", in.Donor.Unit))
		}
	}
	if len(c.faults) > 0 {
		return
	}
	if in.share() >= 1 {
		c.fault("wanted density", withUnit(in.Wanted.Value, string(in.Wanted.Unit)),
			fmt.Sprintf("must be below the donor's, %s", withUnit(in.Donor.Value, string(in.Donor.Unit))))
	} else if need := in.share() * in.WorkingL; in.DonorSpareL > 0 && need > in.DonorSpareL {
		c.fault("what the donor can give", withUnit(in.DonorSpareL, "L"),
			fmt.Sprintf("must be at least the %s L that this start takes", short(need)))
	}
}

func (d Density) check(name string, c *checker) {
	switch d.Unit {
	case CellsPerML:
		c.cells(name, d.Value)
	case OD:
		c.within(name, d.Value, 0.001, 100, string(OD))
	default:
		c.fault(name, withUnit(d.Value, string(d.Unit)), fmt.Sprintf("must be in %s or %s", CellsPerML, OD))
	}
}

func (in Inoculation) advise(out *Inoculum) {
	out.assume("What is taken out is sterile medium from the vessel itself, before the inoculum, so that the volume stays.")
	out.assume(fmt.Sprintf("Medium that was dosed before keeps %s %% of its nutrients; the donor's own is taken to be spent.",
		short(100*out.NewMediumShare)))
	if in.Wanted.Value == 0 {
		out.assume("No starting density was asked for: a tenth of the volume, as is usual.")
	}
	if in.Donor.Unit == OD {
		out.assume("The od of both is above blank, from the same probe, where od still rises in step with cells.")
	}
	switch {
	case out.Share > GreatestShare:
		out.warn(fmt.Sprintf("%s %% of the volume is above the usual 10 to 20 %%: the donor is thin or much is asked; its bacteria and spent medium come along.", short(100*out.Share)))
	case out.Share < LeastShare:
		out.warn(fmt.Sprintf("%s %% of the volume is far below the usual 10 to 20 %%: the start will be slow and easily overgrown.", short(100*out.Share)))
	}
}
