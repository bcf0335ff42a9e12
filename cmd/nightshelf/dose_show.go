package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
)

// doseText is for a person at a bench: what goes in first, all else under it.
func doseText(w io.Writer, d dosed) error {
	p := &benchPage{w: w}
	kind := ""
	if d.Diatoms {
		kind = ", diatoms"
	}
	times := ""
	if d.Strength != 1 {
		times = amounts.Digits(d.Strength) + " times "
	}
	p.line(0, "%s, %s%s%s", &d.place, times, d.Recipe, kind)
	p.line(0, "")
	width := 0
	for _, part := range d.Parts {
		width = max(width, len(part.Part))
	}
	for _, part := range d.Parts {
		p.line(0, "  %-*s   %s", width, part.Part, amounts.Millilitres(part.VolumeML))
		if part.VolumeML < amounts.LeastML {
			d.Warnings = append(d.Warnings, fmt.Sprintf("Part %s is too little to measure (%s mL): dilute the bottle first, or take a larger volume.", part.Part, amounts.Digits(part.VolumeML)))
		}
	}
	p.line(0, "")
	p.line(0, "%s", d.otherReading())
	p.line(0, "Sum: %s.", d.sum())
	if d.carried == nil {
		p.line(0, "Limits: not known, since the salts of %s are not.", d.Recipe)
	} else {
		d.limitsText(p)
	}
	p.advice(d.Advice)
	return p.err
}

// otherReading is the other way to take the amounts, in one line.
func (d *dosed) otherReading() string {
	if d.bylabel {
		return "By the labels of the bottles. A label in mL for 10 or 20 L is typed as it stands: A=5mL/20L."
	}
	return "For solutions made up after the recipe. A bottle that was bought goes by its label: --label A=5mL/20L."
}

func (d *dosed) sum() string {
	var parts []string
	for _, p := range d.Parts {
		one := fmt.Sprintf("%s mL/L x %s L", amounts.Digits(p.MLPerL), amounts.Digits(d.place.litres))
		if d.Strength != 1 {
			one += " x " + amounts.Digits(d.Strength)
		}
		parts = append(parts, fmt.Sprintf("%s %s = %s mL", p.Part, one, amounts.Digits(p.VolumeML)))
	}
	return strings.Join(parts, "; ")
}

// inWords are the nutrients of which people speak.
var inWords = map[plan.Nutrient]string{
	plan.Nitrogen: "nitrogen", plan.Phosphorus: "phosphorus", plan.Silicon: "silicate", plan.Carbon: "carbon",
}

func (d *dosed) limitsText(p *benchPage) {
	var finals []string
	for _, n := range []plan.Nutrient{plan.Nitrogen, plan.Phosphorus, plan.Silicon, plan.Iron, plan.EDTA} {
		if f := d.In(n); f.MgPerL > 0 {
			finals = append(finals, fmt.Sprintf("%s %s", n, amounts.Digits(f.MgPerL)))
		}
	}
	provided := ""
	if d.bylabel {
		provided = " if the labels' doses are meant for " + d.Recipe
	}
	p.line(0, "It makes, in mg/L%s: %s.", provided, strings.Join(finals, ", "))
	p.line(0, "")
	p.line(0, "It carries, in dry weight, the seawater's own nutrients not counted (%s ends it first):", inWords[d.carried.First])
	for _, l := range d.limits() {
		p.line(15, "  %-11s  %s", inWords[l.Nutrient], l.Arithmetic)
	}
	if d.air != "" {
		p.line(15, "  %-11s  %s", "air", d.air)
	}
}

// doseJSONOut is what dose --json prints. Volumes are in mL, concentrations as
// the names say, with all digits.
type doseJSONOut struct {
	Vessel   string      `json:"vessel,omitempty"`
	VolumeL  float64     `json:"volume_l"`
	Recipe   string      `json:"recipe"`
	Diatoms  bool        `json:"diatoms"`
	Strength float64     `json:"strength"`
	Parts    []partJSON  `json:"parts"`
	Finals   []finalJSON `json:"finals"`
	Limits   []limitJSON `json:"limits"`
	First    string      `json:"first_limit,omitempty"`
	Air      string      `json:"air,omitempty"`
	Advice   *adviceJSON `json:"advice"`
}

type partJSON struct {
	Part    string  `json:"part"`
	ML      float64 `json:"ml"`
	MLPerL  float64 `json:"ml_per_l"`
	ByLabel bool    `json:"by_label"`
}

type finalJSON struct {
	Nutrient string  `json:"nutrient"`
	MolPerL  float64 `json:"mol_per_l"`
	MgPerL   float64 `json:"mg_per_l"`
}

type limitJSON struct {
	Nutrient   string  `json:"nutrient"`
	DryGPerL   float64 `json:"dry_g_per_l"`
	Arithmetic string  `json:"arithmetic"`
}

// adviceJSON belongs to the amounts: a script that shows them shows it too.
type adviceJSON struct {
	Warnings []string `json:"warnings"`
	Assumed  []string `json:"assumed"`
	Cautions []string `json:"cautions"`
}

func adviceOf(a plan.Advice) *adviceJSON {
	out := &adviceJSON{Warnings: []string{}, Assumed: []string{}, Cautions: []string{}}
	out.Warnings = append(out.Warnings, a.Warnings...)
	out.Assumed = append(out.Assumed, a.Assumed...)
	for _, c := range a.Cautions {
		out.Cautions = append(out.Cautions, string(c))
	}
	return out
}

func doseJSON(w io.Writer, d dosed) error {
	out := doseJSONOut{Vessel: d.place.name, VolumeL: d.place.litres, Recipe: d.Recipe, Diatoms: d.Diatoms, Strength: d.Strength,
		Finals: []finalJSON{}, Limits: []limitJSON{}, Air: d.air, Advice: adviceOf(d.Advice)}
	for _, p := range d.Parts {
		out.Parts = append(out.Parts, partJSON{p.Part, p.VolumeML, p.MLPerL, p.ByLabel})
	}
	for _, f := range d.Finals {
		out.Finals = append(out.Finals, finalJSON{string(f.Nutrient), f.MolPerL, f.MgPerL})
	}
	for _, l := range d.limits() {
		out.Limits = append(out.Limits, limitJSON{string(l.Nutrient), l.DryGPerL, l.Arithmetic})
	}
	if d.carried != nil {
		out.First = string(d.carried.First)
	}
	return writeJSON(w, out)
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
