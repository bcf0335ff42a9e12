package lineproto

import (
	"bytes"
	"fmt"
	"unicode/utf8"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"github.com/nightshelf/nightshelf/ingest"
)

// The measurements.
const (
	reading = "reading"
	event   = "event"
)

// line is one line being read.
type line struct {
	number int    // in the payload, from 1
	indent int    // blanks before text
	raw    []byte // as it came, without its end
	text   []byte // what is decoded: raw without blanks before it, mended where mend says so
	input  []byte // copy of raw for its refusals, made when first needed
}

// line reads one line. Lines are cut apart here, each with a decoder of its
// own, and not by one decoder for all: that one lets a text run on over the
// ends of lines until it finds a closing quote, and after a stray carriage
// return goes on in the middle of a line.
func (w *work) line(n int, raw []byte) {
	l := line{number: n, raw: bytes.TrimSuffix(raw, []byte("\r"))}
	l.text = bytes.TrimLeft(l.raw, " ")
	l.indent = len(l.raw) - len(l.text)
	if len(bytes.TrimSpace(l.text)) == 0 || l.text[0] == '#' {
		return
	}
	readings, refused := len(w.batch.Readings), len(w.batch.Refused)
	if f := w.measurement(&l); f != nil {
		// The line goes as a whole, with what was kept or refused of its fields.
		w.batch.Readings = w.batch.Readings[:readings]
		w.batch.Refused = w.batch.Refused[:refused]
		w.refuse(&l, f)
	}
}

func (w *work) measurement(l *line) *fault {
	if !utf8.Valid(l.text) {
		return faultf(ingest.NotUTF8, firstInvalid(l.text)+1, "bytes that are no UTF-8 text")
	}
	dec := lineprotocol.NewDecoderWithBytes(l.text)
	dec.Next()
	name, err := dec.Measurement()
	if err != nil {
		return syntax(err)
	}
	switch string(name) {
	case reading:
		return w.reading(l, dec)
	case event:
		return w.event(l, dec)
	}
	return faultf(ingest.Unreadable, 1, "unknown measurement %s: want reading or event", quote(name))
}

func firstInvalid(b []byte) int {
	for i := 0; i < len(b); {
		r, size := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return len(b)
}

// tags are those that mean something here; others are passed over.
type tags struct {
	vessel    string
	kind, who string
}

// tags reads the tags of a line.
func (w *work) tags(dec *lineprotocol.Decoder) (tags, *fault) {
	var t tags
	for {
		key, value, err := dec.NextTag()
		switch {
		case err != nil:
			return t, syntax(err)
		case key == nil && t.vessel == "":
			return t, faultf(ingest.BadVessel, 1, "no vessel named: the tag vessel is missing")
		case key == nil:
			return t, nil
		}
		switch string(key) {
		case "vessel":
			if f := w.vessel(&t, value); f != nil {
				return t, f
			}
		case "kind":
			t.kind = string(value)
		case "who":
			t.who = string(value)
		}
	}
}

func (w *work) vessel(t *tags, value []byte) *fault {
	name := w.names.name(value)
	switch {
	case !ingest.ValidVesselName(name):
		return faultf(ingest.BadVessel, 1, "%s cannot name a vessel: want 1 to %d bytes without control characters",
			quote(value), ingest.MaxVesselName)
	case t.vessel != "" && t.vessel != name:
		return faultf(ingest.BadVessel, 1, "two vessels named, %q and %s", t.vessel, quote(value))
	}
	t.vessel = name
	return nil
}

// fault is why a line, or a field of it, is refused.
type fault struct {
	reason ingest.Reason
	column int // in line.text, in bytes from 1
	text   string
}

func faultf(r ingest.Reason, column int, format string, args ...any) *fault {
	return &fault{r, column, fmt.Sprintf(format, args...)}
}

// refuse sets the line, or a field of it, aside.
func (w *work) refuse(l *line, f *fault) {
	if l.input == nil {
		l.input = bytes.Clone(l.raw[:min(len(l.raw), ingest.MaxRefusedInput)])
	}
	column := l.indent + f.column
	w.batch.Refused = append(w.batch.Refused, ingest.Refused{
		Reason:  f.reason,
		Detail:  fmt.Sprintf("line %d, column %d: %s", l.number, column, short(f.text, maxDetail)),
		Line:    l.number,
		Column:  column,
		Input:   l.input,
		Size:    len(l.raw),
		Arrived: w.batch.Arrived,
	})
}
