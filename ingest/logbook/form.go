package logbook

import (
	"slices"
	"strings"

	"github.com/nightshelf/nightshelf/ingest"
)

// Field is one thing that an entry may say.
type Field struct {
	Name  string   // as it is kept, with its unit: volume_l
	Title string   // for people: "volume, L"
	Form  byte     // 'f' number, 's' text, 'b' yes or no
	Low   float64  // of a number, that may be
	High  float64  // of a number, that may be
	Words []string // of a text: those that it may be; none: any
	Must  bool     // an entry without it says nothing
}

// Form is what an entry of one kind may say.
type Form struct {
	Kind   ingest.Kind
	Title  string  // what was done, for people: "harvest"
	Fields []Field // the one that an amount without a name stands for comes first
}

// FormOf returns the form of a kind, without the fields that all have; ok is
// false for no kind.
func FormOf(k ingest.Kind) (Form, bool) {
	i := slices.IndexFunc(forms, func(f Form) bool { return f.Kind == k })
	if i < 0 {
		return Form{}, false
	}
	f := forms[i]
	f.Fields = slices.Clone(f.Fields)
	return f, true
}

// Common are the fields that every kind of entry has.
func Common() []Field { return slices.Clone(common) }

// field finds a field of a kind by its name.
func field(k ingest.Kind, name string) (Field, bool) {
	f, _ := FormOf(k)
	for _, list := range [][]Field{f.Fields, common} {
		if i := slices.IndexFunc(list, func(f Field) bool { return f.Name == name }); i >= 0 {
			return list[i], true
		}
	}
	if part, ok := strings.CutSuffix(name, "_ml"); ok && k == ingest.Dose && part != "" {
		return number(name, "part "+part+", mL", leastML, mostML), true
	}
	if part, ok := strings.CutPrefix(name, "bottle_"); ok && (k == ingest.Dose || k == ingest.Inoculate) && part != "" {
		return text(name, "bottle of part "+part), true
	}
	return Field{}, false
}

func number(name, title string, low, high float64) Field {
	return Field{Name: name, Title: title, Form: 'f', Low: low, High: high}
}

func text(name, title string) Field { return Field{Name: name, Title: title, Form: 's'} }

func words(name, title string, among ...string) Field {
	return Field{Name: name, Title: title, Form: 's', Words: among}
}

func yes(name, title string) Field { return Field{Name: name, Title: title, Form: 'b'} }

func must(f Field) Field {
	f.Must = true
	return f
}
