package logbook

import (
	"fmt"
	"strings"

	"github.com/nightshelf/nightshelf/ingest"
)

// Sentence says what an entry tells, without vessel and time: "harvest: 6 L,
// refilled with new medium".
func Sentence(e ingest.Entry) string {
	form, ok := FormOf(e.Kind)
	if !ok {
		return string(e.Kind)
	}
	var parts []string
	told := map[string]bool{OverruledBy: true, overruled: true}
	for _, f := range append(form.Fields, common...) {
		if v, said := e.Fields[f.Name]; said && !told[f.Name] {
			told[f.Name] = true
			parts = append(parts, f.say(v))
		}
	}
	for _, name := range sortedNames(e) {
		if !told[name] {
			f, known := fieldOf(e, name)
			if !known {
				f = Field{Name: name, Title: name, Form: e.Fields[name].Form}
			}
			parts = append(parts, f.say(e.Fields[name]))
		}
	}
	if _, said := e.Float("counted"); said && e.Kind == ingest.Count {
		if c, ok := CountOf(e); ok {
			parts = append(parts, "which is "+num(c.CellsPerML)+" cells/mL")
		}
	}
	parts = compact(parts)
	if len(parts) == 0 {
		return form.Title
	}
	return form.Title + ": " + strings.Join(parts, ", ")
}

// say shows a value with its title; what is plain from its unit needs none.
func (f Field) say(v ingest.Value) string {
	name, unit, _ := strings.Cut(f.Title, ", ")
	switch {
	case v.Form == 'b' && v.Yes:
		return f.Title
	case v.Form == 'b':
		return "not " + f.Title
	case v.Form == 's' && strings.TrimSpace(v.Text) == "":
		return ""
	case v.Form == 's' && f.Name == "entry":
		return name + " " + v.Text[:min(len(v.Text), 8)]
	case v.Form == 's' && f.Name == "remark":
		return v.Text
	case v.Form == 's':
		return name + " " + v.Text
	case f.Name == "volume_l":
		return num(v.Num) + " L"
	case unit != "":
		return fmt.Sprintf("%s %s %s", name, num(v.Num), unit)
	}
	return name + " " + num(v.Num)
}

func compact(parts []string) []string {
	out := parts[:0]
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return out
}
