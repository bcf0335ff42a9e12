package logbook

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/nightshelf/nightshelf/ingest"
)

// unitsOf are the units that a field takes, each with what brings it to the
// field's own. The first is its own.
var unitsOf = []struct {
	ending string // of the field's name
	units  []unitFactor
}{
	{"_per_ml", []unitFactor{{"/ml", 1}, {"cells/ml", 1}, {"/l", 1e-3}, {"/ul", 1e3}}},
	{"_mg_l", []unitFactor{{"mg/l", 1}, {"ppm", 1}, {"g/l", 1000}}},
	{"_g_l", []unitFactor{{"g/l", 1}}},
	{"_ml", []unitFactor{{"ml", 1}, {"l", 1000}, {"ul", 1e-3}}},
	{"_lpm", []unitFactor{{"l/min", 1}, {"ml/min", 1e-3}, {"l/h", 1.0 / 60}}},
	{"_l", []unitFactor{{"l", 1}, {"ml", 1e-3}}},
	{"_g", []unitFactor{{"g", 1}, {"mg", 1e-3}, {"kg", 1000}}},
	{"_h", []unitFactor{{"h", 1}, {"min", 1.0 / 60}, {"d", 24}}},
	{"_hours", []unitFactor{{"h", 1}}},
	{"_percent", []unitFactor{{"%", 1}}},
	{"_c", []unitFactor{{"c", 1}, {"degc", 1}, {"°c", 1}}},
	{"_umol", []unitFactor{{"umol", 1}}},
	{"od", []unitFactor{{"od", 1}}},
}

type unitFactor struct {
	name   string
	factor float64
}

func units(field string) []unitFactor {
	for _, u := range unitsOf {
		if strings.HasSuffix(field, u.ending) {
			return u.units
		}
	}
	return nil
}

// amount reads a number with a unit behind it, which may be left out.
func amount(s string) (value float64, unit string, err error) {
	s = strings.TrimSpace(s)
	i := len(s)
	for j, r := range s {
		if !strings.ContainsRune("0123456789.,+-eE", r) || (r == 'e' || r == 'E') && !exponent(s[j:]) {
			i = j
			break
		}
	}
	digits := strings.TrimSpace(s[:i])
	if strings.Count(digits, ",") == 1 && !strings.Contains(digits, ".") {
		digits = strings.Replace(digits, ",", ".", 1) // as much of the world writes it
	}
	value, err = strconv.ParseFloat(digits, 64)
	if err != nil || math.IsInf(value, 0) || math.IsNaN(value) {
		return 0, "", fmt.Errorf("%q is no number", short(s))
	}
	return value, strings.ToLower(strings.TrimSpace(s[i:])), nil
}

// exponent reports whether s, which begins with an e, goes on as a power of ten.
func exponent(s string) bool {
	s = strings.TrimLeft(s[1:], "+-")
	return s != "" && s[0] >= '0' && s[0] <= '9'
}

// ReadValue reads the value of a field as a person writes it: "6 L", "500 ml",
// "yes", "strip". Its errors quote what was written.
func (f Field) ReadValue(s string) (ingest.Value, error) {
	switch f.Form {
	case 'f':
		v, err := f.number(s)
		return ingest.Num(v), err
	case 'b':
		yes, err := yesNo(s)
		return ingest.Bool(yes), err
	}
	return ingest.Text(strings.TrimSpace(s)), nil
}

func (f Field) number(s string) (float64, error) {
	if f.Name == "chlorine_mg_l" && strings.EqualFold(strings.TrimSpace(s), "none") {
		return 0, nil
	}
	v, unit, err := amount(s)
	if err != nil || unit == "" {
		return v, err
	}
	var known []string
	for _, u := range units(f.Name) {
		if u.name == unit {
			return v * u.factor, nil
		}
		known = append(known, u.name)
	}
	if len(known) == 0 {
		return 0, fmt.Errorf("%q has a unit, and %s has none", short(s), f.Title)
	}
	return 0, fmt.Errorf("%q is in a unit that does not fit %s: known are %s", short(s), f.Title, strings.Join(known, ", "))
}

func yesNo(s string) (bool, error) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "", "yes", "true", "on", "1", "y":
		return true, nil
	case "no", "false", "off", "0", "n":
		return false, nil
	}
	return false, fmt.Errorf("%q is neither yes nor no", short(s))
}

// takes reports whether a field takes a unit.
func (f Field) takes(unit string) bool {
	for _, u := range units(f.Name) {
		if u.name == unit {
			return true
		}
	}
	return false
}
