package lineproto

import (
	"math"
	"strings"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"github.com/nightshelf/nightshelf/ingest"
)

// Fields of an entry that are not its own but say something about it.
const (
	writtenAt = "written_at" // integer, always ns, whatever the precision
	who       = "who"
	// writtenOnArrival is only written by AppendEntry: written_at is then no
	// part of the entry's identity.
	writtenOnArrival = "written_on_arrival"
)

// event reads the rest of a line of the logbook. Half an entry misleads, so
// one bad field refuses it all.
func (w *work) event(l *line, dec *lineprotocol.Decoder) *fault {
	t, f := w.tags(dec)
	if f != nil {
		return f
	}
	e := ingest.Entry{Vessel: t.vessel, Kind: ingest.Kind(t.kind), Who: t.who}
	if !e.Kind.Valid() {
		return badKind(t.kind)
	}
	for n := 0; ; n++ {
		key, value, err := dec.NextField()
		if err != nil {
			return badField(l, err)
		}
		if key == nil {
			break
		}
		if f := w.entryField(&e, string(key), value); f != nil {
			_, f.column = place(l.text, n)
			return f
		}
	}
	if e.At, f = w.time(l, dec); f != nil {
		return f
	}
	if e.Written.IsZero() {
		e.WrittenOnArrival = true
		e.Written = ingest.Stamp(w.arrived)
	}
	if e.Written.IsZero() { // nobody knows when it arrived either
		e.Written = e.At
	}
	w.batch.Entries = append(w.batch.Entries, e)
	return nil
}

func badKind(kind string) *fault {
	if kind == "" {
		return faultf(ingest.BadEntry, 1, "no kind of entry: the tag kind is missing")
	}
	return faultf(ingest.BadEntry, 1, "unknown kind of entry %s: known are %s", quote([]byte(kind)), kinds())
}

func kinds() string {
	var names []string
	for _, k := range ingest.Kinds {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

// badField makes a fault of the decoder's error at a field.
func badField(l *line, err error) *fault {
	if start, end, ok := word(l.text, err); ok {
		return faultf(ingest.BadValue, start+1, "value %s is no finite number, no quoted text and neither true nor false", quote(l.text[start:end]))
	}
	return syntax(err)
}

// entryField puts one field into e. The fault has no column yet.
func (w *work) entryField(e *ingest.Entry, key string, v lineprotocol.Value) *fault {
	switch key {
	case writtenAt:
		return w.written(e, v)
	case who:
		if v.Kind() != lineprotocol.String || len(v.BytesV()) > MaxText {
			return faultf(ingest.BadValue, 0, "who=%v: want a quoted text of at most %d bytes", short(v.String(), maxQuoted), MaxText)
		}
		e.Who = v.StringV()
		return nil
	case writtenOnArrival:
		if v.Kind() != lineprotocol.Bool {
			return faultf(ingest.BadValue, 0, "%s=%v: want true or false", key, v)
		}
		e.WrittenOnArrival = v.BoolV()
		return nil
	}
	value, f := entryValue(key, v)
	if f != nil {
		return f
	}
	if e.Fields == nil {
		e.Fields = map[string]ingest.Value{}
	}
	e.Fields[key] = value
	return nil
}

func entryValue(key string, v lineprotocol.Value) (ingest.Value, *fault) {
	switch v.Kind() {
	case lineprotocol.Float:
		return ingest.Num(v.FloatV()), nil
	case lineprotocol.Int:
		return ingest.Num(float64(v.IntV())), nil
	case lineprotocol.Uint:
		return ingest.Num(float64(v.UintV())), nil
	case lineprotocol.Bool:
		return ingest.Bool(v.BoolV()), nil
	}
	text := v.BytesV()
	if len(text) > MaxText {
		return ingest.Value{}, faultf(ingest.BadValue, 0, "text of %d bytes in %s: at most %d are taken",
			len(text), quote([]byte(key)), MaxText)
	}
	return ingest.Text(string(text)), nil
}

// written reads when an entry was written.
func (w *work) written(e *ingest.Entry, v lineprotocol.Value) *fault {
	var n int64
	switch {
	case v.Kind() == lineprotocol.Int:
		n = v.IntV()
	case v.Kind() == lineprotocol.Uint && v.UintV() <= math.MaxInt64:
		n = int64(v.UintV())
	default:
		return faultf(ingest.BadTime, 0, "%s=%v: want whole nanoseconds since 1970 with an i behind", writtenAt, v)
	}
	at, ok := ingest.Nanoseconds.Time(n)
	if !ok {
		return faultf(ingest.BadTime, 0, "%s=%v is out of range", writtenAt, v)
	}
	if err := w.options.Window.Check(at, w.arrived, w.reference); err != nil {
		return faultf(ingest.BadTime, 0, "%s=%v, always in nanoseconds: %v", writtenAt, v, err)
	}
	e.Written = ingest.Stamp(at)
	return nil
}
