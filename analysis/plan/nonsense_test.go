package plan

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"
)

// Each kind of nonsense gets its sentence, which quotes it, and no amount.
func TestNonsenseGetsASentence(t *testing.T) {
	bleach := Label{5, ByVolume, 0}
	culture := Density{1e7, CellsPerML}
	call := func(v any, err error) error { return err }
	for want, err := range map[string]error{
		`plan chlorination: water volume "0 L": must be from 0.001 to 1000000 L`:                              call(Chlorinate(Chlorination{0, bleach, 25, UsualContact})),
		`plan chlorination: bleach strength "0 %": must be from 0.1 to 20 %`:                                  call(Chlorinate(Chlorination{20, Label{0, ByVolume, 0}, 25, UsualContact})),
		`plan chlorination: bleach strength "200 %": must be from 0.1 to 20 %`:                                call(Chlorinate(Chlorination{20, Label{200, ByWeight, 0}, 25, UsualContact})),
		`plan chlorination: free chlorine "-3 mg/L": must be from 0.01 to 5000 mg/L`:                          call(Chlorinate(Chlorination{20, bleach, -3, UsualContact})),
		`plan chlorination: free chlorine "NaN mg/L": must be from 0.01 to 5000 mg/L`:                         call(Chlorinate(Chlorination{20, bleach, math.NaN(), UsualContact})),
		`plan chlorination: contact time "0s": must be above 0 and at most 30 days`:                           call(Chlorinate(Chlorination{20, bleach, 25, 0})),
		`plan chlorination: contact time "-1h0m0s": must be above 0 and at most 30 days`:                      call(Chlorinate(Chlorination{20, bleach, 25, -time.Hour})),
		`plan chlorination: bleach density "7 kg/L": must be from 1 to 1.35 kg/L`:                             call(Chlorinate(Chlorination{20, Label{5, ByWeight, 7}, 25, UsualContact})),
		`plan chlorination: free chlorine "800 mg/L": must stay below half of the bleach itself, 500 mg/L`:    call(Chlorinate(Chlorination{20, Label{0.1, AvailableByVolume, 0}, 800, UsualContact})),
		`plan neutralisation: margin "0.5 times the need": must be from 1 to 10 times the need`:               call(Neutralise(Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, Margin: 0.5})),
		`plan neutralisation: convention "fizz": must be "to sulfate", "to sulfur" or "to tetrathionate"`:     call(Neutralise(Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, Convention: "fizz"})),
		`plan neutralisation: form of thiosulfate "wet": must be "pentahydrate" or "anhydrous"`:               call(Neutralise(Neutralisation{WaterL: 20, FreeChlorineMgPerL: 25, Form: "wet"})),
		`plan dose: working volume "0 L": must be from 0.001 to 1000000 L`:                                    call(Dose(Dosing{Recipe: F2()})),
		`plan dose: strength "-1 times the recipe": must be from 0.001 to 10 times the recipe`:                call(Dose(Dosing{CultureL: 20, Recipe: F2(), Strength: -1})),
		`plan dose: label dose "C": must name a part of f/2: A, B`:                                            call(Dose(Dosing{CultureL: 20, Recipe: F2(), LabelMLPerL: map[string]float64{"C": 1}})),
		`plan dose: label dose "silicate": is for diatoms, and this is not said to be one`:                    call(Dose(Dosing{CultureL: 20, Recipe: F2(), LabelMLPerL: map[string]float64{"silicate": 1}})),
		`plan dose: recipe "own": recipe "own": must have at least one part`:                                  call(Dose(Dosing{CultureL: 20, Recipe: Recipe{Name: "own"}})),
		`plan inoculation: density of the donor "-5 cells/mL": must be from 1 to 1e+10 cells/mL`:              call(Inoculate(Inoculation{WorkingL: 20, Donor: Density{-5, CellsPerML}})),
		`plan inoculation: density of the donor "5 furlongs": must be in cells/mL or od above blank`:          call(Inoculate(Inoculation{WorkingL: 20, Donor: Density{5, "furlongs"}})),
		`plan inoculation: wanted density "2e+07 cells/mL": must be below the donor's, 1e+07 cells/mL`:        call(Inoculate(Inoculation{WorkingL: 20, Donor: culture, Wanted: Density{2e7, CellsPerML}})),
		`plan inoculation: wanted density "0.1 od above blank": must be in cells/mL as the donor's`:           call(Inoculate(Inoculation{WorkingL: 20, Donor: culture, Wanted: Density{0.1, OD}})),
		`plan inoculation: what the donor can give "1 L": must be at least the 2 L that this start takes`:     call(Inoculate(Inoculation{WorkingL: 20, Donor: culture, DonorSpareL: 1})),
		`plan harvest: harvest "20 L": must leave some of the 20 L to grow on`:                                call(Harvest(Draw{WorkingL: 20, HarvestL: 20})),
		`plan ration: number of animals "-10": must be from 1 to 1e+12`:                                       call(Rationed(Ration{Animals: -10, CellsPerAnimalDay: 1e5, CultureCellsPerML: 1e6})),
		`plan feed: food in the tank "-1 cells/mL": must be from 0 to 1e+10 cells/mL`:                         call(FeedTank(TankFeed{TankL: 10, NowCellsPerML: -1, WantedCellsPerML: 1e5, CultureCellsPerML: 1e7})),
		`plan feed: wanted food "6000000 cells/mL": must be at most half of the culture's own 1e+07 cells/mL`: call(FeedTank(TankFeed{TankL: 10, WantedCellsPerML: 6e6, CultureCellsPerML: 1e7})),
		`plan ration: organic weight of a cell "0 pg": must be from 0.1 to 100000 pg`:                         call(FeedSpat(SpatFeed{LiveG: 1, CultureCellsPerML: 1e6})),
		`plan aeration: airflow "0 L/min": must be from 0.001 to 100000 L/min`:                                call(Aerate(Aeration{CultureL: 20, TempC: 20})),
		`plan aeration: share captured "2": must be from 0.001 to 1`:                                          call(Aerate(Aeration{CultureL: 20, AirLPerMin: 2, TempC: 20, CapturedShare: 2})),
		`plan density: nitrogen dosed "0 mg/L": must be above 0: plan the dose first`:                         call(Carry(Standing{})),
		`read bleach label: bleach strength "200 %": must be from 0.1 to 20 %`:                                call(Label{200, ByVolume, 0}.ChlorineGPerL()),
	} {
		var input *InputError
		if err == nil || err.Error() != want || !errors.As(err, &input) {
			t.Errorf("got  %v\nwant %s", err, want)
		}
	}
}

func TestEveryFaultIsToldAtOnce(t *testing.T) {
	_, err := Sterilise(Chlorination{-1, Label{200, "by eye", 0}, 0, 0}, Neutralisation{})
	if n := len(InputErrors(err)); n != 5 {
		t.Fatalf("%d faults in %v", n, err)
	}
	for _, part := range []string{`"-1 L"`, `"200 %"`, `"by eye"`, `"0 mg/L"`, `"0s"`} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%s is not in: %v", part, err)
		}
	}
}

// A recipe of somebody's own that is wrong is refused in its own words.
func TestOwnRecipes(t *testing.T) {
	part := func(s Salt) Recipe {
		return Recipe{Name: "own", Parts: []Part{{Name: "A", MLPerL: 1, Salts: []Salt{s}}}}
	}
	if err := part(Salt{"Ca(NO3)2.4H2O", 100, Nitrogen}).Check(); err != nil {
		t.Errorf("calcium nitrate: %v", err)
	}
	for want, r := range map[string]Recipe{
		`"NaNO4x"`:               part(Salt{"NaNO4x", 75, Nitrogen}),
		`"NaNO3": must hold "P"`: part(Salt{"NaNO3", 75, Phosphorus}),
		`"-75 g/L"`:              part(Salt{"NaNO3", -75, Nitrogen}),
		`"A": must have a name`:  {Name: "own", Parts: []Part{{Name: "A", MLPerL: 1}, {Name: "A", MLPerL: 1}}},
		`"0 mL/L"`:               {Name: "own", Parts: []Part{{Name: "A"}}},
	} {
		if err := r.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	two := part(Salt{"Ca(NO3)2.4H2O", 100, Nitrogen})
	near(t, "two N each", dosed(t, Dosing{CultureL: 1, Recipe: two}).In(Nitrogen).MolPerL, 0.1*2/236.149, 1e-4)
}
