package plan

import (
	"fmt"
	"time"
)

// Neutralise gives the thiosulfate for what chlorine is left in the water.
func Neutralise(in Neutralisation) (ThiosulfateDose, error) {
	in.settle()
	var c checker
	in.check(&c)
	if err := c.err("plan neutralisation"); err != nil {
		return ThiosulfateDose{}, err
	}
	other := ToSulfate
	if in.Convention == ToSulfate {
		other = ToTetrathionate
	}
	out := ThiosulfateDose{
		Form: in.Form, Margin: in.Margin,
		Chosen: in.amount(in.Convention), Other: in.amount(other),
		Test:   chlorineTest(),
		Advice: Advice{Cautions: thiosulfateCautions()},
	}
	out.OtherGrams = out.Chosen.Grams * molarThiosulfate[in.Form.other()] / molarThiosulfate[in.Form]
	in.advise(&out)
	return out, nil
}

// NeutraliseFound is Neutralise for what a test found: a strip's steps are
// coarser than the margin.
func NeutraliseFound(in Neutralisation) (ThiosulfateDose, error) {
	out, err := Neutralise(in)
	if err == nil {
		out.assume("What a strip found is good to 0.5 mg/L at best, which the margin may not cover: test again, better by DPD.")
	}
	return out, err
}

func (f Form) other() Form {
	if f == Anhydrous {
		return Pentahydrate
	}
	return Anhydrous
}

func (in *Neutralisation) settle() {
	in.Margin = or(in.Margin, UsualMargin)
	if in.Convention == "" {
		in.Convention = ToSulfate
	}
	if in.Form == "" {
		in.Form = Pentahydrate
	}
}

func (in Neutralisation) check(c *checker) {
	c.volume("water volume", in.WaterL)
	c.within("free chlorine", in.FreeChlorineMgPerL, 0.01, greatestChlorine, "mg/L")
	c.within("margin", in.Margin, 1, 10, "times the need")
	c.optional("strength of the thiosulfate solution", in.StockGPerL, 0.1, greatestStock, "g/L")
	if molesPerMole[in.Convention] == 0 {
		c.fault("convention", string(in.Convention), fmt.Sprintf("must be %q, %q or %q", ToSulfate, ToSulfur, ToTetrathionate))
	}
	if molarThiosulfate[in.Form] == 0 {
		c.fault("form of thiosulfate", string(in.Form), fmt.Sprintf("must be %q or %q", Pentahydrate, Anhydrous))
	}
}

// amount is grams = mg/L * L * mg/mg * margin / 1000.
func (in Neutralisation) amount(conv Convention) ThiosulfateAmount {
	need := molesPerMole[conv] * molarThiosulfate[in.Form] / molarCl2
	mgPerL := in.FreeChlorineMgPerL * need * in.Margin
	out := ThiosulfateAmount{Convention: conv, MgPerMgCl2: need, Grams: mgPerL * in.WaterL / 1000}
	out.PentaMgPerL = mgPerL * molarThiosulfate[Pentahydrate] / molarThiosulfate[in.Form]
	out.OxygenMgPerL = out.PentaMgPerL * oxygenPerMg
	if in.StockGPerL > 0 {
		out.StockML = out.Grams / in.StockGPerL * 1000
	}
	return out
}

// chlorineTest: two hours of air after a supplier's protocol, where people at
// the shelf wait some minutes; the target and what strips resolve are from memory.
func chlorineTest() ChlorineTest {
	return ChlorineTest{
		Wait: 2 * time.Hour, TargetMgPerL: 0.05, StripMgPerL: 0.5,
		BetterMethod: "DPD",
		IfPositive:   "Dose again for the chlorine that the test found, wait and test again.",
	}
}

// timesSulfate is the dose over the need to sulfate, by which SafeMargin is
// held: a margin on another convention would hide four or eight times of it.
func (in Neutralisation) timesSulfate() float64 {
	return in.Margin * molesPerMole[in.Convention] / molesPerMole[ToSulfate]
}

// slack keeps a bound that is met exactly from being passed by the last binary digit.
const slack = 1 + 1e-9

func (in Neutralisation) advise(out *ThiosulfateDose) {
	out.assume(fmt.Sprintf("Thiosulfate is taken to go %s, with %s times the need. Conventions differ up to eightfold, so the test decides.",
		in.Convention, num(in.Margin)))
	out.assume("All chlorine named is taken to be still there; water, walls and light use some of it up.")
	out.assume(fmt.Sprintf("Leftover thiosulfate takes up to %s mg/L of oxygen if no chlorine was left, and aerated seawater holds about %s: aerate.",
		rough(out.Chosen.OxygenMgPerL), num(SeawaterOxygenMgPerL)))
	out.assume("In water with ammonia the chlorine is bound as chloramine: test for total chlorine, and thiosulfate leaves the ammonia behind.")
	if t := in.timesSulfate(); t > SafeMargin*slack {
		out.warn(fmt.Sprintf("This is %s times the need to sulfate, above %s times, the most that handbook rules for seawater come to: what is left over uses up oxygen.",
			short(t), num(SafeMargin)))
	}
	if out.Chosen.PentaMgPerL > SafeThiosulfateMgPerL {
		out.warn(fmt.Sprintf("It makes %s mg/L of thiosulfate in the water, above %s mg/L: what is left over can use up the water's oxygen many times.",
			short(out.Chosen.PentaMgPerL), num(SafeThiosulfateMgPerL)))
	}
}
