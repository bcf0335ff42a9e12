package amounts

import (
	"slices"
	"strings"
	"testing"

	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
)

var house = &config.Config{
	Bleach:  config.Bleach{Percent: 5, By: "weight"},
	Recipes: []config.Recipe{{Name: "house", Parts: []config.Part{{Name: "A", MLPerL: 0.25}, {Name: "B", MLPerL: 0.25}, {Name: "silicate", MLPerL: 0.5, DiatomsOnly: true}}}},
}

// 25 mg/L in 18 L are 450 mg; bleach of 5 % by weight at 1.07 kg/L holds
// 50.96 mg/mL (facts from the trade's tables): 8.8 mL. To sulfate, 0.875 mg of
// crystals a mg of chlorine, 1.25 times, from 250 g/L: 1.97 mL. All by hand.
func TestFor(t *testing.T) {
	for _, tt := range []struct {
		v    Vessel
		kind ingest.Kind
		want string
	}{
		{Vessel{LitresL: 18}, ingest.Chlorinate, "8.8 mL of bleach for 18 L: 25 mg/L of free chlorine, for 24 h."},
		{Vessel{LitresL: 18}, ingest.Neutralise, "2 mL of a solution with 250 g of thiosulfate crystals in a litre"},
		{Vessel{LitresL: 18, FoundMgPerL: 2}, ingest.Neutralise, "for the chlorine that the test found, 2 mg/L"},
		{Vessel{LitresL: 18}, ingest.Dose, "A 4.5 mL, B 4.5 mL for 18 L of house."},
		{Vessel{LitresL: 18, Strain: "chaetoceros-muelleri"}, ingest.Dose, "A 4.5 mL, B 4.5 mL, silicate 9 mL for 18 L of house."},
		{Vessel{LitresL: 18, Medium: "f/2"}, ingest.Dose, "A 18 mL, B 18 mL for 18 L of f/2."},
		{Vessel{LitresL: 18, Medium: "soup"}, ingest.Dose, "No amount: "},
		{Vessel{LitresL: 18}, ingest.Rinse, ""},
		{Vessel{}, ingest.Chlorinate, ""},
	} {
		s := For(house, tt.v, tt.kind)
		if got := strings.Join(s.Lines, "\n"); !strings.Contains(got, tt.want) || tt.want == "" && got != "" {
			t.Errorf("%s in %+v: %q, want %q", tt.kind, tt.v, got, tt.want)
		}
		if chemical := tt.kind != ingest.Rinse && tt.v.LitresL > 0 && tt.v.Medium != "soup"; chemical && !slices.Contains(s.Cautions, string(plan.Defer)) {
			t.Errorf("%s comes without its cautions: %q", tt.kind, s.Cautions)
		}
	}
	if s := For(&config.Config{}, Vessel{LitresL: 18}, ingest.Chlorinate); !strings.Contains(s.Lines[0], "label of your bleach") {
		t.Errorf("a strength was guessed: %q", s.Lines)
	}
}
