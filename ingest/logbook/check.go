package logbook

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/nightshelf/nightshelf/ingest"
)

// Fault says what is wrong with one field of an entry.
type Fault struct {
	Field string // as kept; empty: the entry as a whole
	Says  string // a clause
}

// Error implements error.
func (f *Fault) Error() string {
	if f.Field == "" {
		return f.Says
	}
	return f.Field + ": " + f.Says
}

// mostText is the most that one text may say, in bytes.
const mostText = 4096

// mostFields is how many fields an entry may have.
const mostFields = 64

// Check returns every fault of an entry, joined, each a [*Fault]: a kind that
// is none, a number that cannot be, a word where a number belongs, and what an
// entry of its kind must say and does not. Fields that nobody knows are kept,
// see [Unknown].
func Check(e ingest.Entry) error {
	form, ok := FormOf(e.Kind)
	if !ok {
		return &Fault{Field: "kind", Says: fmt.Sprintf("%q is no kind of entry", string(e.Kind))}
	}
	var faults []error
	if len(e.Fields) > mostFields {
		return &Fault{Says: fmt.Sprintf("an entry with %d fields: at most %d are taken", len(e.Fields), mostFields)}
	}
	for _, name := range sortedNames(e) {
		if v := e.Fields[name]; e.Kind == ingest.Correct && name != "entry" && v.Form == 's' && v.Text == "" {
			continue // it was not said after all
		}
		if f, ok := fieldOf(e, name); ok {
			if says := f.check(e.Fields[name]); says != "" {
				faults = append(faults, &Fault{name, says})
			}
		}
	}
	if _, err := Series(e.Str("series")); err != nil {
		faults = append(faults, &Fault{"series", err.Error()})
	}
	for _, f := range form.Fields {
		if _, said := e.Fields[f.Name]; f.Must && !said {
			faults = append(faults, &Fault{f.Name, "must be said: " + f.Title})
		}
	}
	if len(e.Fields) == 0 && (e.Kind == ingest.Dose || e.Kind == ingest.Count || e.Kind == ingest.Look) {
		faults = append(faults, &Fault{Says: form.Title + ": what came of it must be said"})
	}
	if e.Kind == ingest.Remark && strings.TrimSpace(e.Str("remark")) == "" {
		faults = append(faults, &Fault{"remark", "must be said"})
	}
	return errors.Join(faults...)
}

func sortedNames(e ingest.Entry) []string { return slices.Sorted(maps.Keys(e.Fields)) }

// fieldOf finds a field of an entry. Those of a correction are those of
// whatever it corrects.
func fieldOf(e ingest.Entry, name string) (found Field, ok bool) {
	if f, ok := field(e.Kind, name); ok || e.Kind != ingest.Correct {
		return f, ok
	}
	// Any form will do, until its entry is known: the one that the value fits.
	for _, form := range forms {
		if f, ok := field(form.Kind, name); ok {
			if found = f; f.check(e.Fields[name]) == "" {
				return f, true
			}
		}
	}
	return found, found.Name != ""
}

// Unknown lists the fields of an entry that its kind does not have.
func Unknown(e ingest.Entry) []string {
	var out []string
	for _, name := range sortedNames(e) {
		if _, ok := fieldOf(e, name); !ok {
			out = append(out, name)
		}
	}
	return out
}

// check says what is wrong with a value, empty if nothing is.
func (f Field) check(v ingest.Value) string {
	switch {
	case v.Form != f.Form:
		return fmt.Sprintf("%q is %s, want %s", short(v.String()), formName(v.Form), formName(f.Form))
	case f.Form == 'f' && !(v.Num >= f.Low && v.Num <= f.High):
		return fmt.Sprintf("%s must be from %s to %s, not %s", f.Title, num(f.Low), num(f.High), num(v.Num))
	case len(v.Text) > mostText:
		return fmt.Sprintf("%d bytes: at most %d are taken", len(v.Text), mostText)
	case len(f.Words) > 0 && !slices.Contains(f.Words, v.Text):
		return fmt.Sprintf("%q must be one of %s", short(v.Text), strings.Join(f.Words, ", "))
	}
	return ""
}

func formName(form byte) string {
	return map[byte]string{'f': "a number", 's': "a text", 'b': "yes or no"}[form]
}

// short cuts what is quoted back to somebody.
func short(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}

// num writes a number for people.
func num(v float64) string {
	if a := math.Abs(v); a >= 1e6 || a != 0 && a < 1e-3 {
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
	return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
}
