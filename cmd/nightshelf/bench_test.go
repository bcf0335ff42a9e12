package main

import (
	"fmt"
	"testing"

	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
)

// No amount has more digits than a syringe, a cylinder or a scale shows.
func TestAmountsAsMeasured(t *testing.T) {
	for ml, want := range map[float64]string{
		0.049: "less than 0.05 mL", 0.05: "0.05 mL", 0.123: "0.12 mL", 8.831: "8.8 mL", 9.98: "10 mL", 10.3: "10.5 mL", 18: "18 mL",
		43.6: "44 mL", 443: "445 mL", 1234: "1.25 L", 12340: "12.5 L",
	} {
		if got := amounts.Millilitres(ml); got != want {
			t.Errorf("%v mL is shown as %s, want %s", ml, got, want)
		}
	}
	for g, want := range map[float64]string{0.02953: "less than 0.1 g", 0.4922: "0.5 g", 4.375: "4.4 g", 10.94: "11 g", 123.4: "123 g"} {
		if got := amounts.Grams(g); got != want {
			t.Errorf("%v g is shown as %s, want %s", g, got, want)
		}
	}
}

// What is shown is never further from the amount than measuring is: 5 per cent
// from a tenth of a millilitre on.
func TestRoundingIsSmall(t *testing.T) {
	for v := 0.1; v < 1e5; v *= 1.01 {
		var shown float64
		var unit string
		if n, err := fmt.Sscan(amounts.Millilitres(v), &shown, &unit); n != 2 || err != nil {
			t.Fatal(amounts.Millilitres(v), err)
		}
		if unit == "L" {
			shown *= 1000
		}
		if r := shown / v; r < 0.95 || r > 1.05 {
			t.Errorf("%v mL is shown as %s", v, amounts.Millilitres(v))
		}
	}
}

func TestDosesOfLabels(t *testing.T) {
	for text, want := range map[string]bottle{
		"A=0.25": {"A", 0.25}, "A=0.25mL/L": {"A", 0.25}, "A=5mL/20L": {"A", 0.25}, "part B = 5 mL/20 L": {}, "B=5 mL / 20 L": {"B", 0.25},
	} {
		got, err := bottles([]string{text})
		if want == (bottle{}) {
			if err == nil {
				t.Errorf("%q is read as %v", text, got)
			}
			continue
		}
		if err != nil || got[0] != want {
			t.Errorf("%q is read as %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"A", "A=", "=1", "A=-1", "A=5mL", "A=5mL/", "A=5mL/0L", "A=5/20L", "A=1e3", "A=5L/20L", "A=NaN"} {
		if got, err := bottles([]string{text}); err == nil {
			t.Errorf("%q is read as %v", text, got)
		}
	}
}
