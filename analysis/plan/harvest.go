package plan

import (
	"fmt"
	"math"
)

// Draw is a harvest with refill, once or again and again.
type Draw struct {
	WorkingL   float64
	HarvestL   float64 // taken and replaced by fresh medium
	EveryDays  float64 // 0.1 to 60; 0: once
	GrowthPerD float64 // specific growth rate, 1/d; 0: not known
}

// Drawn is what a harvest asks of the culture.
type Drawn struct {
	Share      float64 // of the working volume, 0 to 1
	LeftShare  float64 // of the density that is left after the refill
	RefillL    float64 // fresh medium in, equal to what was taken
	NeededPerD float64 // growth rate that pays for it, 1/d; 0 where it is done once
	BackInDays float64 // until the density is back; 0 where the growth is not known
	Advice
}

// Harvest gives what a draw of a share f asks: -ln(1-f) in growth, spread over
// the days between two draws.
func Harvest(in Draw) (Drawn, error) {
	var c checker
	c.volume("working volume", in.WorkingL)
	c.volume("harvest", in.HarvestL)
	c.optional("days between harvests", in.EveryDays, 0.1, 60, "d")
	c.optional("growth rate", in.GrowthPerD, 0.001, 5, "1/d")
	if len(c.faults) == 0 && in.HarvestL >= in.WorkingL {
		c.fault("harvest", withUnit(in.HarvestL, "L"), fmt.Sprintf("must leave some of the %s L to grow on", num(in.WorkingL)))
	}
	if err := c.err("plan harvest"); err != nil {
		return Drawn{}, err
	}
	out := Drawn{Share: in.HarvestL / in.WorkingL, RefillL: in.HarvestL,
		Advice: Advice{Cautions: []Caution{lookAtCulture, TestAfter, VentOpen, Electricity, Defer}}}
	out.LeftShare = 1 - out.Share
	steps := -math.Log1p(-out.Share)
	if in.EveryDays > 0 {
		out.NeededPerD = steps / in.EveryDays
	}
	if in.GrowthPerD > 0 {
		out.BackInDays = steps / in.GrowthPerD
	}
	out.assume("The refill is medium at the original enrichment, free of chlorine.")
	if in.GrowthPerD > 0 && out.NeededPerD > in.GrowthPerD {
		out.warn(fmt.Sprintf("These harvests need %s a day and the culture grows at %s: it thins out with each.", short(out.NeededPerD), num(in.GrowthPerD)))
	}
	return out, nil
}
