package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
)

// steriliseText is for a person at a bench with wet gloves: the amounts, the
// other way to read label and reaction, the sum, then every step.
func steriliseText(w io.Writer, s sterilised) error {
	p := &benchPage{w: w}
	if s.none {
		p.line(0, "%s: a test that found no chlorine needs no thiosulfate.", &s.place)
		p.line(0, "A strip shows chlorine from about 0.5 mg/L only: test by DPD, for total chlorine, before anything is inoculated.")
		p.advice(s.Advice)
		return p.err
	}
	s.heading(p)
	p.line(0, "")
	s.amounts(p)
	p.line(0, "")
	s.others(p)
	s.sums(p)
	p.line(0, "")
	p.line(0, "Steps")
	for i, step := range s.steps {
		p.line(21, "  %2d  %-13s  %s", i+1, strings.ReplaceAll(step.Kind, "_", " "), s.stepText(step))
	}
	p.advice(s.Advice)
	return p.err
}

func (s *sterilised) heading(p *benchPage) {
	switch {
	case s.soak == nil:
		p.line(0, "%s, in which a test found %s mg/L of chlorine", &s.place, amounts.Digits(s.in.FreeChlorineMgPerL))
	case s.soak.FreeChlorineMgPerL == s.water.FreeChlorineMgPerL:
		p.line(0, "%s, chlorine %s mg/L for %s, twice: in the emptied vessel, then in the seawater",
			&s.place, amounts.Digits(s.soak.FreeChlorineMgPerL), span(s.soak.Contact))
	default:
		p.line(0, "%s, chlorine %s mg/L in the emptied vessel, then %s mg/L in the seawater, for %s each",
			&s.place, amounts.Digits(s.soak.FreeChlorineMgPerL), amounts.Digits(s.water.FreeChlorineMgPerL), span(s.soak.Contact))
	}
}

func (s *sterilised) amounts(p *benchPage) {
	if s.soak != nil {
		p.line(17, "  bleach         %s", forBoth(amounts.Millilitres(s.soak.BleachML), amounts.Millilitres(s.water.BleachML)))
		s.tooLittle("bleach", s.soak.BleachML, s.water.BleachML)
	}
	last := s.thiosulfate(s.last)
	if s.first == nil {
		p.line(17, "  thiosulfate    %s", last)
		return
	}
	if s.in.FreeChlorineMgPerL > 0 {
		last += fmt.Sprintf(" (the test found %s mg/L)", amounts.Digits(s.in.FreeChlorineMgPerL))
	}
	p.line(17, "  thiosulfate    %s", forBoth(s.thiosulfate(*s.first), last))
}

func forBoth(vessel, seawater string) string {
	if vessel == seawater {
		return vessel + "; each time"
	}
	return vessel + " for the vessel; " + seawater + " for the seawater"
}

// thiosulfate is the amount as it is measured out: what no scale shows is
// given as a solution.
func (s *sterilised) thiosulfate(d plan.ThiosulfateDose) string {
	if s.in.StockGPerL > 0 {
		s.tooLittle("thiosulfate solution", d.Chosen.StockML)
		return fmt.Sprintf("%s of %s g/L %s", amounts.Millilitres(d.Chosen.StockML), amounts.Digits(s.in.StockGPerL), d.Form)
	}
	if d.Chosen.Grams >= 10 {
		return fmt.Sprintf("%s %s", amounts.Grams(d.Chosen.Grams), d.Form)
	}
	stock := usualStock
	if d.Chosen.Grams < usualStock/1000 { // less than 1 mL of it
		stock = usualStock / 10
	}
	ml := d.Chosen.Grams / stock * 1000
	s.tooLittle("thiosulfate solution", ml)
	dry := ""
	if d.Chosen.Grams >= weighable {
		dry = ", or " + amounts.Grams(d.Chosen.Grams) + " dry"
	}
	return fmt.Sprintf("%s of a solution with %s g %s in 1 L%s", amounts.Millilitres(ml), amounts.Digits(stock), d.Form, dry)
}

const (
	usualStock = 250.0 // g/L, of handbooks
	weighable  = 0.5   // g: below it the tenths of a pocket scale are too coarse
)

func (s *sterilised) tooLittle(what string, mls ...float64) {
	for _, ml := range mls {
		if ml < amounts.LeastML {
			text := fmt.Sprintf("%s mL of %s is too little to measure: dilute it first and take as many times more.", amounts.Digits(ml), what)
			s.Warnings = append(s.Warnings, text)
			return
		}
	}
}

// others are the other readings, a line each.
func (s *sterilised) others(p *benchPage) {
	if s.water != nil {
		least, most := s.water.BleachML, s.water.BleachML
		for _, r := range s.water.Readings {
			least, most = min(least, r.BleachML), max(most, r.BleachML)
		}
		p.line(2, "Bleach is read as %s. As %s it would be %s for the seawater; over all readings %s to %s.",
			s.water.Basis, s.water.Other.Basis, amounts.Millilitres(s.water.Other.BleachML), amounts.Millilitres(least), amounts.Millilitres(most))
	}
	p.line(2, "Thiosulfate is taken to go %s. If it goes %s it is %s, %s.", s.last.Chosen.Convention, s.last.Other.Convention,
		s.measuredOut(s.last.Other), times(s.last.Other.Grams/s.last.Chosen.Grams))
	if !s.formSaid {
		p.line(2, "Crystals (pentahydrate) are meant; of the powder (anhydrous) it is %.2f times as much.", s.last.OtherGrams/s.last.Chosen.Grams)
	}
}

func (s *sterilised) measuredOut(a plan.ThiosulfateAmount) string {
	if a.StockML > 0 {
		return amounts.Millilitres(a.StockML)
	}
	return amounts.Grams(a.Grams)
}

func times(ratio float64) string {
	if ratio < 1 {
		return amounts.Digits(1/ratio) + " times less"
	}
	return amounts.Digits(ratio) + " times as much"
}

// sums is the arithmetic, a line each for bleach and thiosulfate.
func (s *sterilised) sums(p *benchPage) {
	litres := s.place.litres
	if s.water != nil {
		p.line(2, "Sum: %s mg/L x %s L = %s mg chlorine / %s mg/mL in the bleach = %s mL.", amounts.Digits(s.water.FreeChlorineMgPerL), amounts.Digits(litres),
			amounts.Digits(s.water.ChlorineMg), amounts.Digits(s.water.BleachGPerL), amounts.Digits(s.water.BleachML))
	}
	c := s.last.Chosen
	mgPerL := c.Grams * 1000 / (litres * c.MgPerMgCl2 * s.last.Margin)
	p.line(2, "Sum: %s mg/L x %s L x %s mg/mg x %s margin = %s g of %s.", amounts.Digits(mgPerL), amounts.Digits(litres), amounts.Digits(c.MgPerMgCl2),
		amounts.Digits(s.last.Margin), amounts.Digits(c.Grams), s.last.Form)
}

// stepText is one step with its amount, its wait and what is dangerous in it.
func (s *sterilised) stepText(step plan.Step) string {
	var amount string
	switch {
	case step.BleachML > 0:
		amount = amounts.Millilitres(step.BleachML) + " bleach. "
	case step.Kind == "neutralise" && s.first != nil && step.ThiosulfateG == s.first.Chosen.Grams:
		amount = s.thiosulfateShort(*s.first)
	case step.Kind == "neutralise":
		amount = s.thiosulfateShort(s.last)
	}
	text := amount + step.Text
	if step.Wait > 0 {
		text += " Wait " + span(step.Wait) + "."
	}
	if step.Care != "" && step.Care != plan.TestAfter {
		text += " " + string(step.Care)
	}
	return text
}

func (s *sterilised) thiosulfateShort(d plan.ThiosulfateDose) string {
	before := len(s.Warnings)
	text := s.thiosulfate(d)
	s.Warnings = s.Warnings[:before] // said with the amounts
	return text + ". "
}

// span writes a time as people say it.
func span(d time.Duration) string {
	if d >= time.Hour {
		return amounts.Digits(d.Hours()) + " h"
	}
	return amounts.Digits(d.Minutes()) + " min"
}
