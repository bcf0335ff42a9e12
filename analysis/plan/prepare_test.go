package plan

import (
	"slices"
	"testing"
	"time"
)

func prepared(t *testing.T, in Preparation) Prepared {
	t.Helper()
	got, err := Prepare(in)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// Common practice at the carboy: cleaned, bleach for 24 h, neutralised, emptied,
// rinsed with acid, refilled, a little bleach again, neutralised, some minutes,
// a test that shows none, then doses and inoculum. Between thiosulfate or bleach
// and acid there is water, both ways.
func TestOrderOfTheSteps(t *testing.T) {
	got := prepared(t, Preparation{20, Label{5.25, ByVolume, 0}, 50, 25, UsualContact, Neutralisation{StockGPerL: 248}})
	var kinds []string
	for _, s := range got.Steps {
		kinds = append(kinds, s.Kind)
	}
	want := []string{"clean", "chlorinate", "neutralise", "dump", "rinse", "acid_rinse", "rinse", "fill", "chlorinate", "neutralise",
		"chlorine_test", "dose", "inoculate", "air"}
	if !slices.Equal(kinds, want) {
		t.Errorf("steps %v", kinds)
	}
	// 50 mg/L in 20 L are 1,000 mg, 20 mL of 50.0 mg/mL; half of that in the seawater.
	near(t, "bleach of the soak", got.Steps[1].BleachML, 20, 1e-3)
	near(t, "bleach of the seawater", got.Steps[8].BleachML, 10, 1e-3)
	near(t, "thiosulfate of the soak", got.Steps[2].ThiosulfateML, 2*got.Steps[9].ThiosulfateML, 1e-12)
	near(t, "thiosulfate", got.Steps[9].ThiosulfateG, 0.547, 1e-3)
	for _, i := range []int{1, 8} {
		if got.Steps[i].Wait != 24*time.Hour {
			t.Errorf("%s waits %s", got.Steps[i].Kind, got.Steps[i].Wait)
		}
	}
	for i, care := range map[int]Caution{1: BleachAlone, 4: AcidAlone, 5: AcidIntoWater, 6: BleachAlone, 10: TestAfter, 13: VentOpen} {
		if got.Steps[i].Care != care {
			t.Errorf("at %s: %q", got.Steps[i].Kind, got.Steps[i].Care)
		}
	}
	if got.Cautions[len(got.Cautions)-1] != Defer {
		t.Error("does not end by deferring to safety data sheets")
	}
}

// What a test found is neutralised, in the seawater only; more than was dosed is said.
func TestFoundChlorine(t *testing.T) {
	in := Preparation{20, Label{5, ByWeight, 0}, 25, 25, UsualContact, Neutralisation{FreeChlorineMgPerL: 1.5}}
	got := prepared(t, in)
	near(t, "soak", got.Steps[2].ThiosulfateG, 25*20*0.875078*1.25/1000, 1e-5)
	near(t, "found", got.Steps[9].ThiosulfateG, 1.5*20*0.875078*1.25/1000, 1e-5)
	said(t, "as expected", got.Warnings, "")
	in.End.FreeChlorineMgPerL = 30
	said(t, "more", prepared(t, in).Warnings, "found 30 mg/L where 25 were dosed")
}

// Read by volume, 12.5 per cent that are available chlorine by weight are
// 12.5 x 1.212 x 10 = 151 g/L, not 119 (computed): 1.27 times, above the margin.
func TestMisreadLabelIsSaid(t *testing.T) {
	in := Preparation{20, Label{12.5, ByVolume, 0}, 25, 25, UsualContact, Neutralisation{}}
	got := prepared(t, in)
	said(t, "strong", got.Warnings, "more than the thiosulfate is for (31.25)")
	worst := got.Soak.Bleach.Readings[2]
	near(t, "mg/L", worst.MgPerL, 25*151.6/119.06, 5e-3)
	in.Bleach = Label{12.5, AvailableByWeight, 0} // the most that it can be read as
	if slices.ContainsFunc(prepared(t, in).Warnings, func(s string) bool { return len(s) > 20 && s[:20] == "If the label means a" }) {
		t.Error("said for nothing")
	}
	in.Bleach, in.End.Margin = Label{12.5, ByVolume, 0}, 1.5
	for _, w := range prepared(t, in).Warnings {
		if w[:3] == "If " {
			t.Errorf("the margin covers it, yet: %s", w)
		}
	}
}
