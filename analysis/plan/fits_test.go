package plan

import "testing"

func TestMisfit(t *testing.T) {
	house := Recipe{Name: "house", Parts: []Part{{Name: "A", MLPerL: 0.25}, {Name: "B", MLPerL: 0.25}, {Name: "silicate", MLPerL: 0.5, Diatoms: true}}}
	type parts = map[string]float64
	for _, tt := range []struct {
		recipe Recipe
		own    bool
		strain string
		parts  parts
		want   string
	}{
		{F2(), false, "tisochrysis-lutea", parts{"a": 20, "b": 20}, ""},
		{F2(), false, "tisochrysis-lutea", parts{"a": 5, "b": 5}, ""}, // a bought bottle
		{F2(), false, "", parts{"a": 100, "b": 100}, "100 mL of part A are not what f/2 takes for 20 L: 20 mL."},
		{F2(), false, "tisochrysis-lutea", parts{"a": 20, "b": 20, "silicate": 20}, "tisochrysis-lutea is no diatom and needs no silicate."},
		{F2(), false, "Chaetoceros muelleri", parts{"a": 20, "b": 20}, "Chaetoceros muelleri is a diatom and needs silicate too."},
		{F2(), false, "Chaetoceros muelleri", parts{"a": 20, "b": 20, "silicate": 20}, ""},
		{F2(), false, "unheard-of", parts{"a": 20, "b": 20}, ""},
		{house, true, "", parts{"a": 5, "b": 5}, ""},
		{house, true, "", parts{"a": 5.5, "b": 4.5}, ""},
		{house, true, "", parts{"a": 20, "b": 20}, "20 mL of part A are not what house takes for 20 L: 5 mL."},
		{house, true, "", parts{"a": 5, "b": 1}, "1 mL of part B are not what house takes for 20 L: 5 mL."},
		{house, true, "", parts{"a": 5}, "Part B of house is missing."},
	} {
		if got := Misfit(tt.recipe, tt.own, tt.strain, 20, tt.parts, true); got != tt.want {
			t.Errorf("%s of %v in %q: %q, want %q", tt.recipe.Name, tt.parts, tt.strain, got, tt.want)
		}
	}
}

// While parts are still to come, only what is too much is told.
func TestMisfitBeforeAllParts(t *testing.T) {
	house := Recipe{Name: "house", Parts: []Part{{Name: "A", MLPerL: 0.25}, {Name: "B", MLPerL: 0.25}, {Name: "silicate", MLPerL: 0.5, Diatoms: true}}}
	if got := Misfit(house, true, "chaetoceros", 20, map[string]float64{"a": 5}, false); got != "" {
		t.Errorf("A alone, so far: %q", got)
	}
	if got := Misfit(house, true, "chaetoceros", 20, map[string]float64{"a": 3, "A": 5}, false); got == "" {
		t.Error("eight of five millilitres pass")
	}
}

// Which genera are diatoms is general botany.
func TestDiatom(t *testing.T) {
	for strain, want := range map[string][2]bool{
		"chaetoceros-muelleri": {true, true}, "Thalassiosira weissflogii": {true, true}, " skeletonema": {true, true},
		"nannochloropsis-oculata": {false, true}, "Tetraselmis": {false, true}, "": {false, false}, "weissflogii": {false, false},
	} {
		if d, k := Diatom(strain); d != want[0] || k != want[1] {
			t.Errorf("%q: diatom %t, known %t", strain, d, k)
		}
	}
}
