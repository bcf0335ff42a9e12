package alerts

import (
	"math"
	"strconv"
	"strings"

	"github.com/nightshelf/nightshelf/analysis"
)

// CallBody says at length what CallText says in one breath: one thing a line,
// with the evidence, and the cautions for whoever goes there.
func CallBody(f analysis.Finding, about About) string {
	w := said[f.Class]
	lines := []string{
		strings.TrimSuffix(head(f, about), ": ") + lot(f.Lot),
		sentence(what0(f)),
	}
	if !f.Since.IsZero() {
		since := "Since " + clock(f.Since, f.Seen, about.Zone)
		if f.Seen.After(f.Since) {
			since += ", " + span(f.Seen.Sub(f.Since)) + " before this was decided"
		}
		lines = append(lines, since+".")
	}
	lines = append(lines, sureness(f))
	lines = append(lines, evidence(f.Evidence)...)
	lines = append(lines,
		normal(f.Normal),
		prefixed("Likely ", cause(f)),
		prefixed("First: ", lowerFirst(first(f))),
		prefixed("Lots at risk, related to this one: ", list(about.AtRisk, 40)),
		prefixed("Mind: ", lowerFirst(mind(f))),
		prefixed("Safety: ", lowerFirst(w.safety)),
	)
	if w.safety != "" {
		lines = append(lines, "Safety data sheets, local rules and trained staff come first.")
	}
	return strings.Join(filled(lines), "\n")
}

func lot(name string) string {
	if name = clean(name); name != "" {
		return ", lot " + name
	}
	return ""
}

// evidence is one line a number: "- airflow 0.1 L/min, expected 4.5 L/min".
func evidence(es []analysis.Evidence) []string {
	var lines []string
	for _, e := range es {
		line := "- " + clean(e.Name) + " " + number(e.Value, e.Unit)
		if !math.IsNaN(e.Normal) {
			line += ", expected " + number(e.Normal, e.Unit)
		}
		lines = append(lines, line)
	}
	return lines
}

// number tells v to three significant digits, without an exponent.
func number(v float64, unit string) string {
	s := "unknown"
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		digits := 2 // after the point; three significant ones where v is 1 to 10
		if v != 0 {
			digits = 2 - int(math.Floor(math.Log10(math.Abs(v))))
		}
		s = strconv.FormatFloat(v, 'f', min(6, max(0, digits)), 64)
		if strings.Contains(s, ".") {
			s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
		}
	}
	if unit = clean(unit); unit != "" {
		s += " " + unit
	}
	return s
}

func filled(lines []string) []string {
	kept := lines[:0]
	for _, l := range lines {
		if l != "" {
			kept = append(kept, l)
		}
	}
	return kept
}
