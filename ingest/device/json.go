package device

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// json reads a payload of JSON. What is missing or null was not measured; what
// is there and no number is refused alone.
func (w *work) json(m *mapping) {
	v, offset, err := parseJSON(w.payload)
	if err != nil {
		w.refuse(ingest.Unreadable, offset, "%v", err)
		return
	}
	name, ok := w.vesselIn(m, v)
	if !ok {
		return
	}
	at, err := w.timeIn(m, v)
	if err != nil {
		w.refuse(ingest.BadTime, 0, "%v", err)
		return
	}
	for i := range m.sources {
		s := &m.sources[i]
		found, ok := s.path.in(v)
		if !ok {
			continue
		}
		x, err := numberIn(found)
		if err != nil {
			w.refuse(ingest.BadValue, 0, "%s at %s: %v", s.name, s.text, err)
			continue
		}
		w.keep(name, s, x, at, 0)
	}
}

// parseJSON reads one JSON value, numbers kept as they are written. On an error
// it returns where in the payload, in bytes from 1.
func parseJSON(payload []byte) (v any, offset int, err error) {
	dec := json.NewDecoder(bytes.NewReader(payload))
	dec.UseNumber()
	if err := dec.Decode(&v); err != nil {
		var syntax *json.SyntaxError
		switch {
		case errors.As(err, &syntax):
			return nil, int(syntax.Offset), fmt.Errorf("no JSON: %w%s", err, hint(payload, int(syntax.Offset)))
		case errors.Is(err, io.EOF):
			return nil, 1, errors.New("no JSON: blank")
		}
		return nil, len(payload) + 1, errors.New("no JSON: it ends too early")
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, int(dec.InputOffset()), errors.New("no JSON: more behind the first value")
	}
	return v, 0, nil
}

// hint tells the usual slip behind a syntax error at offset, from 1.
func hint(payload []byte, offset int) string {
	word := strings.ToLower(string(payload[max(offset-1, 0):min(offset+7, len(payload))]))
	if strings.HasPrefix(word, "nan") || strings.HasPrefix(word, "in") || strings.HasPrefix(word, "an") {
		return " (NaN and Infinity are no JSON: send null)"
	}
	return ""
}

// numberIn takes a number out of a JSON number or a text that is one.
func numberIn(v any) (float64, error) {
	var text string
	switch v := v.(type) {
	case json.Number:
		text = v.String()
	case string:
		text = strings.TrimSpace(v)
	default:
		return 0, fmt.Errorf("want a number, got %s", kind(v))
	}
	x, f := parseNumber(text)
	if f != nil {
		return 0, errors.New(f.text)
	}
	return x, nil
}

// kind names what a JSON value is.
func kind(v any) string {
	switch v := v.(type) {
	case map[string]any:
		return "an object"
	case []any:
		return "a list"
	case string:
		return strconv.Quote(short(v))
	}
	return short(fmt.Sprint(v)) // a number, true or false
}

// vesselIn returns the name of the vessel, or refuses the payload.
func (w *work) vesselIn(m *mapping, v any) (string, bool) {
	switch {
	case m.vesselName != "":
		return m.vesselName, true
	case m.vesselPath == nil:
		return w.vessel(m.vesselOf(w.topic))
	}
	found, _ := m.vesselPath.in(v)
	switch name := found.(type) {
	case string:
		return w.vessel(name)
	case json.Number:
		return w.vessel(name.String())
	case nil:
		w.refuse(ingest.BadVessel, 0, "no vessel named: its field is missing")
	default:
		w.refuse(ingest.BadVessel, 0, "the field of the vessel holds %s, want a text", kind(name))
	}
	return "", false
}

// timeIn returns the time of a payload: that of its time field, or of arrival.
func (w *work) timeIn(m *mapping, v any) (time.Time, error) {
	found, ok := m.timePath.in(v)
	if m.timePath == nil || !ok {
		if w.arrived.IsZero() {
			return time.Time{}, errors.New("no time, and nobody knows when the message arrived")
		}
		return ingest.Stamp(w.arrived), nil
	}
	if m.timeUnit == RFC3339 {
		return w.timeText(found)
	}
	return w.timeNumber(found, ingest.Precision(m.timeUnit))
}

func (w *work) timeText(found any) (time.Time, error) {
	s, ok := found.(string)
	if !ok {
		return time.Time{}, fmt.Errorf("time: want a text such as 2025-11-25T12:00:00Z, got %s", kind(found))
	}
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return time.Time{}, fmt.Errorf("time %q: want one such as 2025-11-25T12:00:00Z", short(s))
	}
	return ingest.Stamp(at), w.window.Check(at, w.arrived, w.reference)
}

func (w *work) timeNumber(found any, p ingest.Precision) (time.Time, error) {
	text := fmt.Sprint(found)
	if n, err := strconv.ParseInt(text, 10, 64); err == nil {
		at, err := w.window.Read(n, p, w.arrived, w.reference)
		if other := (*ingest.PrecisionError)(nil); errors.As(err, &other) {
			err = fmt.Errorf("%w (%d looks like %s: set the time unit %s)", other.Err, n, other.Looks, string(other.Looks))
		}
		return ingest.Stamp(at), err
	}
	x, err := numberIn(found)
	if err != nil {
		return time.Time{}, fmt.Errorf("time: %w", err)
	}
	// Fractions: to the microsecond, which is what a double holds of today's
	// date, or cutting to milliseconds would lose one.
	us := math.Round(x * float64(p.Duration()) / float64(time.Microsecond))
	if math.Abs(us) >= math.MaxInt64 {
		return time.Time{}, fmt.Errorf("time %v is no number of %s", x, p)
	}
	at, ok := ingest.Microseconds.Time(int64(us))
	if !ok {
		return time.Time{}, fmt.Errorf("time %v is no number of %s", x, p)
	}
	return ingest.Stamp(at), w.window.Check(at, w.arrived, w.reference)
}
