package plan

import (
	"time"
)

// Convention is a stoichiometry of thiosulfate against chlorine.
type Convention string

// The conventions in use. ToSulfate is the default: the rules that suppliers
// and handbooks give for seawater lie 13 to 50 per cent above it, and what is
// too little shows in the test and is made up, while what is too much cannot be
// taken out again and uses up oxygen. ToTetrathionate, eight times that, is the
// reaction of the iodometric titration and of the rule of one maker of test
// kits (7.0 mg/mg, Hach TE213); rules for sample bottles (5.0 and 5.6 mg/mg)
// and for drained pipelines (1.9 mg/mg) lie between the two, since nobody minds
// an excess there.
const (
	ToSulfate       Convention = "to sulfate"       // S2O3 + 4 Cl2 + 5 H2O -> 2 SO4 + 8 HCl: 1/4 mol for 1 mol Cl2
	ToSulfur        Convention = "to sulfur"        // S2O3 + Cl2 + H2O -> SO4 + S + 2 HCl: 1 mol for 1 mol Cl2
	ToTetrathionate Convention = "to tetrathionate" // 2 S2O3 + Cl2 -> S4O6 + 2 Cl: 2 mol for 1 mol Cl2
)

// Form is the salt in the jar.
type Form string

// The two forms that are sold. Of the same chlorine the powder takes 0.637
// times the crystals: taken for the other, a dose is 1.57 times too much, or
// leaves a fifth of the chlorine at the usual margin.
const (
	Pentahydrate Form = "pentahydrate" // Na2S2O3.5H2O, crystals, 248.172 g/mol
	Anhydrous    Form = "anhydrous"    // Na2S2O3, powder, 158.097 g/mol
)

// Margins and bounds of the thiosulfate.
const (
	UsualMargin = 1.25 // times the need to sulfate; handbook rules are 1.13 to 1.5
	SafeMargin  = 1.5  // times the need to sulfate, whatever convention it is reckoned by: above it a plan says so
	// SafeThiosulfateMgPerL, as pentahydrate, neutralises the greatest usual
	// chlorine at SafeMargin: 250 * 0.875 * 1.5, rounded up. A plan above it says so.
	SafeThiosulfateMgPerL = 330.0
	// oxygenPerMg is the oxygen, mg, that bacteria use up on 1 mg of leftover
	// pentahydrate: S2O3 + 2 O2 + H2O -> 2 SO4 + 2 H.
	oxygenPerMg = 2 * 31.998 / 248.172
	// SeawaterOxygenMgPerL is what aerated seawater holds at 20 degC (7.4 at 35
	// of salinity, from memory): leftover thiosulfate can take it all.
	SeawaterOxygenMgPerL = 7.4
	greatestStock        = 1000.0 // g/L; little more dissolves
)

var molesPerMole = map[Convention]float64{ToSulfate: 0.25, ToSulfur: 1, ToTetrathionate: 2}

var molarThiosulfate = map[Form]float64{Pentahydrate: 248.172, Anhydrous: 158.097}

// Neutralisation is what is wanted of the thiosulfate.
type Neutralisation struct {
	WaterL             float64
	FreeChlorineMgPerL float64    // as Cl2: what a test found, or all that was dosed
	Convention         Convention // empty: ToSulfate
	Margin             float64    // 1 to 10 times the need; 0: UsualMargin
	Form               Form       // empty: Pentahydrate
	StockGPerL         float64    // strength of a solution of that form; 0: weighed dry
}

// ThiosulfateAmount is an amount after one convention.
type ThiosulfateAmount struct {
	Convention   Convention
	MgPerMgCl2   float64 // need without margin, of the form asked for
	Grams        float64 // of the form asked for, margin in it
	StockML      float64 // of the solution; 0 where it is weighed dry
	OxygenMgPerL float64 // most oxygen that it takes up, if no chlorine was left
	PentaMgPerL  float64 // in the water, as pentahydrate
}

// ChlorineTest is what follows every dose of thiosulfate.
type ChlorineTest struct {
	Wait         time.Duration // from dosing to testing, with air on
	TargetMgPerL float64       // what must not be exceeded
	StripMgPerL  float64       // the least a strip can show
	BetterMethod string
	IfPositive   string
}

// ThiosulfateDose is an amount by the convention chosen, the other beside it,
// and the test that comes after: there is no dose without it.
type ThiosulfateDose struct {
	Form       Form
	Margin     float64
	Chosen     ThiosulfateAmount
	Other      ThiosulfateAmount // ToTetrathionate, or ToSulfate where that was not chosen
	OtherGrams float64           // of the other form, by the convention chosen
	Test       ChlorineTest
	Advice
}
