// Package amounts shows amounts as they are measured out at the bench, and
// works out those that a step of making a vessel ready takes, from what the
// room's configuration says of its bottles.
package amounts

import (
	"math"
	"strconv"
	"strings"
)

// Millilitres writes a volume as a syringe or a cylinder shows it.
func Millilitres(ml float64) string {
	switch {
	case ml < LeastML:
		return "less than " + strconv.FormatFloat(LeastML, 'f', -1, 64) + " mL"
	case ml < 1:
		return stepped(ml, 0.01) + " mL"
	case ml < 10:
		return stepped(ml, 0.1) + " mL"
	case ml < 20:
		return stepped(ml, 0.5) + " mL"
	case ml < 100:
		return stepped(ml, 1) + " mL"
	case ml < 1000:
		return stepped(ml, 5) + " mL"
	case ml < 10000:
		return stepped(ml/1000, 0.05) + " L"
	}
	return stepped(ml/1000, 0.5) + " L"
}

// What a small syringe and a pocket scale still show.
const (
	LeastML    = 0.05
	LeastGrams = 0.1
)

// Grams writes a mass as a kitchen scale shows it; below 10 g it takes a
// pocket scale.
func Grams(g float64) string {
	switch {
	case g < LeastGrams:
		return "less than " + strconv.FormatFloat(LeastGrams, 'f', -1, 64) + " g"
	case g < 10:
		return stepped(g, 0.1) + " g"
	}
	return stepped(g, 1) + " g"
}

// stepped rounds to the steps of a scale and writes no more digits than it has.
func stepped(v, step float64) string {
	places := max(0, int(math.Ceil(-math.Log10(step))))
	s := strconv.FormatFloat(math.Round(v/step)*step, 'f', places, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// Digits writes a number of an arithmetic, with as many digits as tell anything.
func Digits(v float64) string {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	if err != nil || math.Abs(r) < 1e-4 || math.Abs(r) >= 1e7 {
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}
