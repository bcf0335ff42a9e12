package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
	"github.com/nightshelf/nightshelf/config"
)

// doseAsked is what was typed.
type doseAsked struct {
	bench
	recipe   string
	diatoms  bool
	labels   []string
	strength float64
}

func newDose() *cobra.Command {
	var asked doseAsked
	c := &cobra.Command{
		Use:   "dose VOLUME --recipe f/2",
		Short: "how much of each nutrient goes into a vessel",
		Long: `How much of each nutrient part goes into a volume of culture: f/2, L1 and Walne
are built in, others stand under recipes in the room's configuration. The recipe's
own doses are for solutions made up after the recipe. For a bottle that was bought,
give the dose on its label, for a litre or for more: --label A=0.25, --label A=5mL/20L.
Silicate is for diatoms only. It also shows what the dose can carry, with the
arithmetic. It needs no daemon and writes nothing down.`,
		Example: `  nightshelf dose 18L --recipe f/2 --diatoms
  nightshelf dose 18L --recipe f/2 --label A=5mL/20L --label B=5mL/20L
  nightshelf dose --vessel C01 --config room.yaml --recipe house`,
		RunE: func(c *cobra.Command, args []string) error {
			if !(asked.strength > 0) {
				return &wrongUse{fmt.Errorf("strength %q: must be above 0, times the recipe's own", fmt.Sprint(asked.strength))}
			}
			where, err := asked.place(args)
			if err != nil {
				return err
			}
			d, err := asked.plan(where)
			if err != nil {
				return err
			}
			if asked.asJSON {
				return doseJSON(c.OutOrStdout(), d)
			}
			return doseText(c.OutOrStdout(), d)
		},
	}
	asked.flags(c)
	c.Flags().StringVar(&asked.recipe, "recipe", "", "f/2, L1, Walne or one of the configuration")
	c.Flags().BoolVar(&asked.diatoms, "diatoms", false, "it is a diatom: silicate too")
	c.Flags().StringArrayVar(&asked.labels, "label", nil, "dose on the bottle of a part, such as A=0.25 (mL for a litre) or A=5mL/20L; again for the next")
	c.Flags().Float64Var(&asked.strength, "strength", 1, "times the recipe's own")
	return c
}

// dosed is what there is to show.
type dosed struct {
	place place
	plan.NutrientDose
	note    string        // what a person should know of the recipe
	carried *plan.Carried // nil where the nitrogen is not known
	air     string        // what the vessel's air brings; empty where it is not known
	bylabel bool
}

func (a doseAsked) plan(where place) (dosed, error) {
	labels, err := bottles(a.labels)
	if err != nil {
		return dosed{}, &wrongUse{err}
	}
	recipe, err := a.choose(where.room, labels)
	if err != nil {
		return dosed{}, err
	}
	in := plan.Dosing{CultureL: where.litres, Recipe: recipe, Strength: a.strength, Diatoms: a.diatoms, LabelMLPerL: map[string]float64{}}
	for _, l := range labels {
		in.LabelMLPerL[l.part] = l.mlPerL
	}
	out := dosed{place: where, note: recipe.Note, bylabel: len(labels) > 0}
	if out.NutrientDose, err = plan.Dose(in); err != nil {
		return dosed{}, nonsense(err)
	}
	if out.In(plan.Nitrogen).MgPerL > 0 {
		carried, err := plan.Carry(plan.Standing{Dose: out.NutrientDose})
		if err != nil {
			return dosed{}, nonsense(err)
		}
		out.carried = &carried
		out.Advice = plan.Join(out.Advice, carried.Advice)
	}
	return out, out.aerate()
}

// choose finds the recipe: the house's own, a built-in one, or where none was
// named the labels themselves.
func (a doseAsked) choose(room *config.Config, labels []bottle) (plan.Recipe, error) {
	var own []string
	if room != nil {
		for _, r := range room.Recipes {
			if r.Name == a.recipe {
				return amounts.Recipe(r), nil
			}
			own = append(own, r.Name)
		}
	}
	if a.recipe == "" && len(labels) > 0 {
		r := plan.Recipe{Name: "the labels' medium", Note: "What the bottles hold is not known here, so no concentrations and no limits: name the medium with --recipe for them."}
		for _, l := range labels {
			r.Parts = append(r.Parts, plan.Part{Name: l.part, MLPerL: l.mlPerL, Diatoms: strings.EqualFold(l.part, "silicate")})
		}
		return r, nil
	}
	if a.recipe == "" {
		return plan.Recipe{}, &wrongUse{errors.New("say which medium with --recipe, such as f/2, or the doses on the bottles with --label A=0.25")}
	}
	r, err := plan.RecipeNamed(a.recipe)
	if err != nil && len(own) > 0 {
		return r, &wrongUse{fmt.Errorf("%w: %s", err, strings.Join(own, ", "))}
	}
	return r, nonsense(err)
}

// aerate adds what the vessel's own air brings of the carbon that the nitrogen asks for.
func (d *dosed) aerate() error {
	v := d.place.vessel
	if d.carried == nil || v == nil || v.AirLpm == 0 {
		return nil
	}
	air, err := plan.Aerate(plan.Aeration{CultureL: v.VolumeL, AirLPerMin: v.AirLpm, TempC: v.TempC})
	if err != nil {
		return nonsense(err)
	}
	d.air = fmt.Sprintf("%s L/min / %s L x 1440 min x %s mmol/L of air = %s mmol/L C a day at most; with the nitrogen go %s mmol/L",
		amounts.Digits(v.AirLpm), amounts.Digits(v.VolumeL), amounts.Digits(air.CMmolPerLDay/air.VVM/1440), amounts.Digits(air.CMmolPerLDay), amounts.Digits(d.carried.CMmolPerL))
	d.Advice = plan.Join(d.Advice, air.Advice)
	return nil
}

// limits are those that are known, the one that ends the culture first on top.
func (d *dosed) limits() []plan.Limit {
	if d.carried == nil {
		return nil
	}
	var out []plan.Limit
	for _, l := range []plan.Limit{d.carried.Silicon, d.carried.Nitrogen, d.carried.Phosphorus, d.carried.Carbon} {
		if l.DryGPerL > 0 && !math.IsInf(l.DryGPerL, 0) {
			out = append(out, l)
		}
	}
	return out
}
