package logbook

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Parse reads an entry from words as they are typed at the shelf:
//
//	C07 harvest 6L --refilled --at 17:40
//	C07 inoculate 1.8L --strain tisochrysis-lutea --donor C05 --taken-out 1.8L
//	C07 chlorine_test none --method strip
//	C07 remark "foam on top"
//
// An amount without a name is that field of the kind whose unit fits, or the
// first. The names of fields may lack their unit, with - for _. "--at" takes a
// clock time of today (of yesterday if that is still to come), a day with a
// time, or RFC 3339; without it, it happened now. All faults come joined.
func Parse(words []string, now time.Time, zone *time.Location) (ingest.Entry, error) {
	if len(words) < 2 {
		return ingest.Entry{}, errors.New(`an entry needs a vessel and what was done, such as "C07 harvest 6L"`)
	}
	e := ingest.Entry{Vessel: words[0], Kind: kindOf(words[1]), At: ingest.Stamp(now), Written: ingest.Stamp(now),
		Fields: map[string]ingest.Value{}}
	form, ok := FormOf(e.Kind)
	if !ok {
		return e, fmt.Errorf("%q is nothing that is written down: known are %s", short(words[1]), kindNames())
	}
	if e.Kind == ingest.Correct || e.Kind == ingest.Withdraw {
		e.At = time.Time{} // that of its entry, see Settle
	}
	p := parser{e: &e, form: form, now: now, zone: zone}
	rest := joined(words[2:])
	for len(rest) > 0 {
		n, err := p.word(rest)
		p.faults = append(p.faults, err)
		rest = rest[n:]
	}
	if err := errors.Join(p.faults...); err != nil {
		return e, err
	}
	if !ingest.ValidVesselName(e.Vessel) {
		return e, fmt.Errorf("%q cannot name a vessel", short(e.Vessel))
	}
	return e, Check(e)
}

// joined puts a unit that stands apart to its number: 6 L is 6L.
func joined(words []string) []string {
	var out []string
	for _, w := range words {
		n := len(out)
		if n > 0 && isUnit(w) {
			if _, unit, err := amount(out[n-1]); err == nil && unit == "" {
				out[n-1] += w
				continue
			}
		}
		out = append(out, w)
	}
	return out
}

func isUnit(word string) bool {
	for _, u := range unitsOf {
		for _, f := range u.units {
			if strings.EqualFold(f.name, word) {
				return true
			}
		}
	}
	return false
}

func kindOf(word string) ingest.Kind {
	return ingest.Kind(strings.ReplaceAll(strings.ToLower(word), "-", "_"))
}

func kindNames() string {
	var names []string
	for _, k := range ingest.Kinds {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

type parser struct {
	e      *ingest.Entry
	form   Form
	now    time.Time
	zone   *time.Location
	faults []error
}

// word reads one word, or a name and its value; it returns how many it took.
func (p *parser) word(words []string) (took int, err error) {
	name, isNamed := strings.CutPrefix(words[0], "--")
	if !isNamed {
		return 1, p.bare(words[0])
	}
	name, value, joined := strings.Cut(name, "=")
	took = 1
	if !joined && len(words) > 1 && !strings.HasPrefix(words[1], "--") && !p.isFlag(name) {
		value, took = words[1], 2
	}
	return took, p.named(name, value)
}

func (p *parser) isFlag(name string) bool {
	f, ok := p.find(name)
	return ok && f.Form == 'b'
}

func (p *parser) named(name, value string) (err error) {
	switch name {
	case "at":
		p.e.At, err = Moment(value, p.now, p.zone)
		return err
	case "who":
		p.e.Who = value
		return nil
	}
	f, ok := p.find(name)
	if !ok {
		return fmt.Errorf("%s says nothing called %q: it has %s", p.form.Title, short(name), p.names())
	}
	v, err := f.ReadValue(value)
	if err != nil {
		return fmt.Errorf("--%s: %w", name, err)
	}
	p.e.Fields[f.Name] = v
	return nil
}

// find finds a field by its name, with or without its unit.
func (p *parser) find(name string) (Field, bool) {
	want := strings.ReplaceAll(name, "-", "_")
	if f, ok := fieldOf(*p.e, want); ok {
		return f, true
	}
	lists := [][]Field{p.form.Fields, common}
	if p.e.Kind == ingest.Correct {
		for _, form := range forms {
			lists = append(lists, form.Fields)
		}
	}
	for _, list := range lists {
		for _, f := range list {
			if bare(f.Name) == want {
				return f, true
			}
		}
	}
	return Field{}, false
}

// bare is a field's name without its unit.
func bare(name string) string {
	for _, u := range unitsOf {
		if u.ending != "od" && strings.HasSuffix(name, u.ending) {
			return strings.TrimSuffix(name, u.ending)
		}
	}
	return name
}

// bare reads a word without a name.
func (p *parser) bare(word string) error {
	switch p.e.Kind {
	case ingest.Remark:
		p.e.Fields["remark"] = ingest.Text(strings.TrimSpace(p.e.Str("remark") + " " + word))
		return nil
	case ingest.Correct, ingest.Withdraw:
		if p.e.Str("entry") == "" {
			p.e.Fields["entry"] = ingest.Text(word)
			return nil
		}
	}
	if _, _, err := amount(word); err == nil && p.e.Kind == ingest.Dose {
		return fmt.Errorf("%q of which part? say --a %s --b %s", short(word), short(word), short(word))
	}
	if _, unit, err := amount(word); err == nil && unit != "" {
		for _, f := range p.form.Fields {
			if f.Form == 'f' && f.takes(unit) {
				return p.put(f, word)
			}
		}
	}
	for _, f := range p.form.Fields {
		if f.Form == 'b' && bare(f.Name) == word {
			p.e.Fields[f.Name] = ingest.Bool(true)
			return nil
		}
	}
	if len(p.form.Fields) == 0 {
		return fmt.Errorf("%s takes no %q: a remark goes behind --remark", p.form.Title, short(word))
	}
	return p.put(p.form.Fields[0], word)
}

// put gives a field the value of a word, once.
func (p *parser) put(f Field, word string) error {
	if _, twice := p.e.Fields[f.Name]; twice {
		return fmt.Errorf("%q: %s was said already", short(word), f.Title)
	}
	v, err := f.ReadValue(word)
	if err != nil {
		return err
	}
	p.e.Fields[f.Name] = v
	return nil
}

func (p *parser) names() string {
	var out []string
	for _, f := range p.form.Fields {
		out = append(out, "--"+strings.ReplaceAll(bare(f.Name), "_", "-"))
	}
	return strings.Join(append(out, "--remark", "--lot", "--at", "--who"), ", ")
}

// Moment reads when something happened, not after now: a clock time (17:40),
// a day and a time (2026-11-24 17:40), or RFC 3339. A clock time that is still
// to come today is of yesterday.
func Moment(s string, now time.Time, zone *time.Location) (time.Time, error) {
	if zone == nil {
		zone = time.UTC
	}
	s = strings.TrimSpace(s)
	if clock, err := time.ParseInLocation("15:04", s, zone); err == nil {
		local := now.In(zone)
		day := func(back int) time.Time {
			return time.Date(local.Year(), local.Month(), local.Day()-back, clock.Hour(), clock.Minute(), 0, 0, zone)
		}
		at := day(0)
		if at.After(now.Add(time.Minute)) { // a clock that is read may be rounded up
			at = day(1)
		}
		return ingest.Stamp(at), nil
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04", time.RFC3339} {
		if at, err := time.ParseInLocation(layout, s, zone); err == nil {
			if at.After(now.Add(time.Minute)) {
				return at, fmt.Errorf("%q is still to come", short(s))
			}
			return ingest.Stamp(at), nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is no time such as 17:40 or 2026-11-24 17:40", short(s))
}
