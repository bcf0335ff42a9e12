package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/nightshelf/nightshelf/analysis/plan"
)

// millilitres writes a volume as a syringe or a cylinder shows it.
func millilitres(ml float64) string {
	switch {
	case ml < leastML:
		return "less than " + strconv.FormatFloat(leastML, 'f', -1, 64) + " mL"
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
	leastML    = 0.05
	leastGrams = 0.1
)

// grams writes a mass as a kitchen scale shows it; below 10 g it takes a
// pocket scale.
func grams(g float64) string {
	switch {
	case g < leastGrams:
		return "less than " + strconv.FormatFloat(leastGrams, 'f', -1, 64) + " g"
	case g < 10:
		return stepped(g, 0.1) + " g"
	}
	return stepped(g, 1) + " g"
}

// stepped rounds to the steps of a scale and writes no more digits than it has.
func stepped(v, step float64) string {
	digits := max(0, int(math.Ceil(-math.Log10(step))))
	s := strconv.FormatFloat(math.Round(v/step)*step, 'f', digits, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// digits writes a number of an arithmetic, with as many digits as tell anything.
func digits(v float64) string {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	if err != nil || math.Abs(r) < 1e-4 || math.Abs(r) >= 1e7 {
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}

// benchPage writes lines that fit a terminal, and remembers the first error.
type benchPage struct {
	w   io.Writer
	err error
}

const benchWidth = 96

// line writes text, wrapped; what follows the first line is indented by hang.
func (p *benchPage) line(hang int, format string, args ...any) {
	width, out := 0, ""
	for i, word := range strings.Split(fmt.Sprintf(format, args...), " ") {
		switch {
		case i > 0 && width+1+len(word) > benchWidth && word != "":
			out += "\n" + strings.Repeat(" ", hang) + word
			width = hang + len(word)
		case i > 0:
			out += " " + word
			width += 1 + len(word)
		default:
			out, width = word, len(word)
		}
	}
	if _, err := fmt.Fprintln(p.w, out); p.err == nil {
		p.err = err
	}
}

// list writes a heading and its sentences, nothing where there are none.
func (p *benchPage) list(heading string, sentences []string) {
	if len(sentences) == 0 {
		return
	}
	p.line(0, "")
	p.line(0, "%s", heading)
	for _, s := range sentences {
		p.line(4, "  - %s", s)
	}
}

// advice ends a page: warnings, what was taken for granted, cautions, and last
// the line that defers.
func (p *benchPage) advice(a plan.Advice) {
	p.list("WARNING", a.Warnings)
	p.list("Taken for granted", a.Assumed)
	var cautions []string
	for _, c := range a.Cautions {
		if c != plan.Defer {
			cautions = append(cautions, string(c))
		}
	}
	p.list("Take care", cautions)
	p.line(0, "")
	p.line(0, "%s", plan.Defer)
}
