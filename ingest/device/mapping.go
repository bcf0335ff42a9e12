// Package device makes readings of what devices send that cannot speak line
// protocol: bare numbers, and JSON of any layout. It does no input or output
// and reads no clock.
package device

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Format is how a device writes its payload.
type Format string

// The formats.
const (
	Number Format = "number" // a bare decimal number
	JSON   Format = "json"
)

// RFC3339 is the unit of a time that is written as a text, such as
// 2025-11-25T12:00:00Z. The other units are those of [ingest.Precision].
const RFC3339 = "rfc3339"

// Mapping says what the messages of one kind of device mean. Exactly one of
// Vessel, VesselField and a level {vessel} in Topic names the vessel.
type Mapping struct {
	Topic       string // MQTT topic filter; the level {vessel} takes any level, as + does
	Vessel      string
	VesselField string            // path in the JSON
	Format      Format            // Number or JSON
	Field       string            // for Number: what the number is, one of unit.Fields
	Fields      map[string]string // for JSON: path to one of unit.Fields
	TimeField   string            // for JSON: path of the time; empty: arrival
	TimeUnit    string            // of TimeField: s, ms, us, ns or rfc3339
}

// MappingError is a fault of one mapping.
type MappingError struct {
	Index int    // of the mapping, from 0
	Key   string // which part of it: topic, vessel, format, field, fields, time_field, time_unit
	Topic string // of the mapping
	Err   error
}

// Error tells the mapping by its number, from 1, and its topic.
func (e *MappingError) Error() string {
	return fmt.Sprintf("mapping %d (topic %q): %s: %v", e.Index+1, e.Topic, e.Key, e.Err)
}

// Unwrap returns the cause.
func (e *MappingError) Unwrap() error { return e.Err }

// source is one value that a mapping takes out of a payload.
type source struct {
	text     string // the path as it was written
	path     path
	name     string // such as temp_f
	quantity unit.Quantity
	conv     unit.Conversion
}

// mapping is a Mapping made ready.
type mapping struct {
	pattern
	vesselName string
	vesselPath path
	format     Format
	sources    []source // one for Number
	timePath   path
	timeUnit   string
}

// compile makes m ready. On a fault it returns the key it belongs to.
func compile(m Mapping, units unit.Units) (c mapping, key string, err error) {
	c = mapping{vesselName: m.Vessel, format: m.Format, timeUnit: m.TimeUnit}
	if c.pattern, err = parsePattern(m.Topic); err != nil {
		return c, "topic", err
	}
	if err = c.compileVessel(m); err != nil {
		return c, "vessel", err
	}
	switch m.Format {
	case Number:
		return c.compileNumber(m, units)
	case JSON:
		return c.compileJSON(m, units)
	}
	return c, "format", fmt.Errorf("unknown format %q: want %s or %s", m.Format, Number, JSON)
}

func (c *mapping) compileVessel(m Mapping) (err error) {
	ways := 0
	for _, given := range []bool{m.Vessel != "", m.VesselField != "", c.vessel >= 0} {
		if given {
			ways++
		}
	}
	if ways != 1 {
		return fmt.Errorf("want one of a fixed vessel, a vessel field and %s in the topic, got %d", vesselLevel, ways)
	}
	if m.Vessel != "" && !ingest.ValidVesselName(m.Vessel) {
		return fmt.Errorf("%q cannot name a vessel", m.Vessel)
	}
	if m.VesselField != "" {
		if m.Format == Number {
			return errors.New("a bare number has no vessel field")
		}
		c.vesselPath, err = parsePath(m.VesselField)
	}
	return err
}

func (c mapping) compileNumber(m Mapping, units unit.Units) (mapping, string, error) {
	switch {
	case m.Field == "":
		return c, "field", errors.New("a bare number needs a field that says what it is")
	case len(m.Fields) > 0:
		return c, "fields", errors.New("a bare number has only one field")
	case m.TimeField != "" || m.TimeUnit != "":
		return c, "time_field", errors.New("a bare number has no time")
	}
	q, conv, err := units.Lookup(m.Field)
	c.sources = []source{{name: m.Field, quantity: q, conv: conv}}
	return c, "field", err
}

func (c mapping) compileJSON(m Mapping, units unit.Units) (mapping, string, error) {
	switch {
	case m.Field != "":
		return c, "field", errors.New("JSON takes fields, a path for each, not a field")
	case len(m.Fields) == 0:
		return c, "fields", errors.New("no fields: nothing would be read")
	}
	var given [unit.Count]string
	for _, text := range slices.Sorted(maps.Keys(m.Fields)) { // one order, whatever the map's
		p, err := parsePath(text)
		if err != nil {
			return c, "fields", err
		}
		q, conv, err := units.Lookup(m.Fields[text])
		if err != nil {
			return c, "fields", err
		}
		if given[q] != "" {
			return c, "fields", fmt.Errorf("%q and %q both give the %s", given[q], text, q)
		}
		given[q] = text
		c.sources = append(c.sources, source{text, p, m.Fields[text], q, conv})
	}
	return c.compileTime(m)
}

func (c mapping) compileTime(m Mapping) (_ mapping, key string, err error) {
	if m.TimeField == "" {
		if m.TimeUnit != "" {
			return c, "time_unit", errors.New("a time unit without a time field")
		}
		return c, "", nil
	}
	if m.TimeUnit != RFC3339 && (m.TimeUnit == "" || !ingest.Precision(m.TimeUnit).Valid()) {
		return c, "time_unit", fmt.Errorf("unknown time unit %q: want s, ms, us, ns or %s", m.TimeUnit, RFC3339)
	}
	c.timePath, err = parsePath(m.TimeField)
	return c, "time_field", err
}
