package main

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// measured is a number with its unit, as a person types it.
var measured = regexp.MustCompile(`^(-?[0-9]*\.?[0-9]+|-?[0-9]+\.) ?([A-Za-z%/]*)$`)

// measure reads one number above 0 in one of some units, each with its factor;
// "" among them is for a bare number. Example is what the sentence shows.
func measure(what, text, example string, units map[string]float64) (float64, error) {
	m := measured.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		if strings.Contains(text, ",") {
			return 0, fmt.Errorf("%s %q: write a decimal point, such as %s", what, text, example)
		}
		return 0, fmt.Errorf("%s %q: must be a number with its unit, such as %s", what, text, example)
	}
	factor, ok := units[m[2]]
	switch {
	case !ok && m[2] == "":
		return 0, fmt.Errorf("%s %q: say the unit too, such as %s", what, text, example)
	case !ok:
		return 0, fmt.Errorf("%s %q: the unit %q is not used here; write it such as %s", what, text, m[2], example)
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil || v <= 0 {
		return 0, fmt.Errorf("%s %q: must be above 0", what, text)
	}
	return v * factor, nil
}

var (
	litreUnits    = map[string]float64{"L": 1, "l": 1, "mL": 1e-3, "ml": 1e-3}
	percentUnits  = map[string]float64{"%": 1}
	chlorineUnits = map[string]float64{"mg/L": 1, "mg/l": 1, "": 1}
	stockUnits    = map[string]float64{"g/L": 1, "g/l": 1}
)

// labelled is a dose on a bottle, as a person types it: A=0.25, A=0.25mL/L or
// A=5mL/20L.
var labelled = regexp.MustCompile(`^([^=]+)=([0-9]*\.?[0-9]+)( ?m[Ll] ?/ ?([0-9]*\.?[0-9]+)? ?[Ll])?$`)

// bottle is what one label says.
type bottle struct {
	part   string
	mlPerL float64
}

// bottles reads the doses of labels, in the order in which they were typed.
func bottles(texts []string) ([]bottle, error) {
	var out []bottle
	seen := map[string]bool{}
	for _, text := range texts {
		m := labelled.FindStringSubmatch(strings.TrimSpace(text))
		if m == nil {
			return nil, fmt.Errorf("label %q: write the part and its mL for a litre, such as A=0.25, or for more, such as A=5mL/20L (a US gallon is 3.785L)", text)
		}
		part := strings.TrimSpace(m[1])
		ml, err := strconv.ParseFloat(m[2], 64)
		litres := 1.0
		if m[4] != "" && err == nil {
			litres, err = strconv.ParseFloat(m[4], 64)
		}
		if err != nil || ml <= 0 || litres <= 0 {
			return nil, fmt.Errorf("label %q: must be above 0", text)
		}
		if seen[part] {
			return nil, fmt.Errorf("label %q: part %s is given twice", text, part)
		}
		seen[part] = true
		out = append(out, bottle{part, ml / litres})
	}
	return out, nil
}

// zero reports whether a number that was typed is none.
func zero(s string) bool {
	v, err := strconv.ParseFloat(s, 64)
	return err == nil && v == 0
}
