package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
	"github.com/nightshelf/nightshelf/config"
)

// steriliseAsked is what was typed.
type steriliseAsked struct {
	bench
	bleach, by       string
	chlorine, again  string
	contact          time.Duration
	found            string
	form, convention string
	margin           float64
	stock            string
}

func newSterilise() *cobra.Command {
	var asked steriliseAsked
	c := &cobra.Command{
		Use:   "sterilise VOLUME --bleach 5% --by weight",
		Short: "how much bleach and thiosulfate, and the order of steps",
		Long: `How much bleach makes a vessel and its seawater sterile, how much thiosulfate ends
it, and every step from the emptied vessel to the new culture. The strength on the
label must come with what it is of (--by): per cent sodium hypochlorite by weight or
by volume, or per cent available chlorine (available-weight, available-volume, which
is the trade's per cent). What a test of the seawater found before the thiosulfate
goes in is given with --found; alone, without --bleach, it plans from there on.
No amount replaces the chlorine test. It needs no daemon and writes nothing down.`,
		Example: `  nightshelf sterilise 18L --bleach 5% --by weight
  nightshelf sterilise 18L --bleach 5% --by weight --chlorine 50 --again 25 --stock 250g/L
  nightshelf sterilise 18L --found 1.5mg/L --thiosulfate pentahydrate
  nightshelf sterilise --vessel C01 --config room.yaml`,
		RunE: func(c *cobra.Command, args []string) error {
			where, err := asked.place(args)
			if err != nil {
				return err
			}
			s, err := asked.plan(where)
			if err != nil {
				return err
			}
			if asked.asJSON {
				return steriliseJSON(c.OutOrStdout(), s)
			}
			return steriliseText(c.OutOrStdout(), s)
		},
	}
	asked.flags(c)
	f := c.Flags()
	f.StringVar(&asked.bleach, "bleach", "", "strength on the label, such as 5%; that of the configuration if left out")
	f.StringVar(&asked.by, "by", "", "what its per cent are of: weight, volume, available-weight or available-volume")
	f.StringVar(&asked.chlorine, "chlorine", "25mg/L", "free chlorine of the soak")
	f.StringVar(&asked.again, "again", "", "free chlorine of the seawater after it; the same if left out")
	f.DurationVar(&asked.contact, "contact", plan.UsualContact, "how long each soak stands")
	f.StringVar(&asked.found, "found", "", "free chlorine that a test of the seawater found, such as 1.5mg/L")
	f.StringVar(&asked.form, "thiosulfate", "", "pentahydrate (crystals, taken if left out) or anhydrous (powder)")
	f.StringVar(&asked.stock, "stock", "", "strength of a thiosulfate solution, such as 250g/L; weighed dry if left out")
	f.StringVar(&asked.convention, "convention", "sulfate", "what thiosulfate is taken to go to: sulfate, sulfur or tetrathionate")
	f.Float64Var(&asked.margin, "margin", plan.UsualMargin, "times the thiosulfate that is needed")
	return c
}

// sterilised is what there is to show.
type sterilised struct {
	place       place
	soak, water *plan.BleachDose // nil where only what a test found is neutralised
	first       *plan.ThiosulfateDose
	last        plan.ThiosulfateDose // of the seawater
	in          plan.Neutralisation  // as it was reckoned for the seawater
	formSaid    bool
	none        bool // a test found none: nothing to neutralise
	steps       []plan.Step
	plan.Advice
}

func (a steriliseAsked) plan(where place) (sterilised, error) {
	in, none, err := a.end()
	if err != nil {
		return sterilised{}, &wrongUse{err}
	}
	out := sterilised{place: where, in: in, none: none, formSaid: a.form != ""}
	if none {
		out.Advice = plan.Advice{Cautions: []plan.Caution{plan.TestAfter, plan.Protect, plan.Defer}}
		return out, nil
	}
	if a.found != "" && a.bleach == "" && a.by == "" {
		in.WaterL = where.litres
		if out.last, err = plan.NeutraliseFound(in); err != nil {
			return sterilised{}, nonsense(err)
		}
		out.Advice, out.steps = out.last.Advice, plan.AfterSoak(out.last)
		return out, nil
	}
	return a.whole(out)
}

// whole plans both soaks.
func (a steriliseAsked) whole(out sterilised) (sterilised, error) {
	label, err := a.label(out.place.room)
	if err != nil {
		return sterilised{}, err
	}
	soak, err := measure("chlorine", a.chlorine, "25mg/L", chlorineUnits)
	again := soak
	if err == nil && a.again != "" {
		again, err = measure("chlorine again", a.again, "25mg/L", chlorineUnits)
	}
	if err != nil {
		return sterilised{}, &wrongUse{err}
	}
	ready, err := plan.Prepare(plan.Preparation{WaterL: out.place.litres, Bleach: label, SoakMgPerL: soak, SeawaterMgPerL: again, Contact: a.contact, End: out.in})
	if err != nil {
		return sterilised{}, nonsense(err)
	}
	out.soak, out.water, out.first, out.last = &ready.Soak.Bleach, &ready.Seawater.Bleach, &ready.Soak.Thiosulfate, ready.Seawater.Thiosulfate
	out.steps, out.Advice = ready.Steps, ready.Advice
	return out, nil
}

// askBy explains why a strength alone says too little.
const askBy = "--bleach needs --by: what the label's per cent are of. 5 % sodium hypochlorite by weight (--by weight) is 51 g/L of chlorine, " +
	"by volume (--by volume) 48; per cent of available chlorine are --by available-weight or --by available-volume"

// label is the one typed, else the configuration's. It is never guessed.
func (a steriliseAsked) label(room *config.Config) (plan.Label, error) {
	switch {
	case a.bleach == "" && a.by != "":
		return plan.Label{}, &wrongUse{errors.New("--by needs --bleach: the strength on the label, such as 5%")}
	case a.bleach == "" && room != nil && room.Bleach.Percent > 0:
		return amounts.Bleach(room.Bleach), nil
	case a.bleach == "":
		return plan.Label{}, &wrongUse{errors.New("say how strong the bleach is, such as --bleach 5% --by weight, or put bleach into the configuration")}
	case a.by == "":
		return plan.Label{}, &wrongUse{errors.New(askBy)}
	}
	basis, ok := amounts.BleachBases[a.by]
	if !ok {
		return plan.Label{}, &wrongUse{fmt.Errorf("--by %q: must be weight, volume, available-weight or available-volume", a.by)}
	}
	percent, err := measure("bleach", a.bleach, "5% (g/L of available chlorine are ten times its per cent by available-volume)", percentUnits)
	if err != nil {
		return plan.Label{}, &wrongUse{err}
	}
	return plan.Label{StrengthPercent: percent, Basis: basis}, nil
}

var conventions = map[string]plan.Convention{"sulfate": plan.ToSulfate, "sulfur": plan.ToSulfur, "tetrathionate": plan.ToTetrathionate}

// end reads how thiosulfate is reckoned; none is a test that found nothing.
func (a steriliseAsked) end() (in plan.Neutralisation, none bool, err error) {
	in = plan.Neutralisation{Convention: conventions[a.convention], Margin: a.margin, Form: plan.Form(a.form)}
	switch {
	case in.Convention == "":
		return in, false, fmt.Errorf("--convention %q: must be sulfate, sulfur or tetrathionate", a.convention)
	case !(a.margin > 0):
		return in, false, fmt.Errorf("margin %q: must be from 1 to 10 times the need", fmt.Sprint(a.margin))
	case a.form != "" && in.Form != plan.Pentahydrate && in.Form != plan.Anhydrous:
		return in, false, fmt.Errorf("--thiosulfate %q: must be pentahydrate (crystals) or anhydrous (powder)", a.form)
	}
	if in.Form == "" {
		in.Form = plan.Pentahydrate
	}
	if a.stock != "" {
		if in.StockGPerL, err = measure("stock", a.stock, "250g/L", stockUnits); err != nil {
			return in, false, err
		}
	}
	if a.found == "" {
		return in, false, nil
	}
	if m := measured.FindStringSubmatch(a.found); m != nil && zero(m[1]) {
		return in, true, nil
	}
	in.FreeChlorineMgPerL, err = measure("found", a.found, "1.5mg/L", chlorineUnits)
	return in, false, err
}
