package lineproto

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// maxBadFields is how many fields of one line are refused singly; a line with
// more is no reading, and refused as a whole.
const maxBadFields = 32

// values are the quantities of one line, in order of appearance. Of a quantity
// that is given twice the later value counts.
type values struct {
	of    [unit.Count]float64
	order [unit.Count]unit.Quantity
	seen  [unit.Count]bool
	n     int
}

func (v *values) set(q unit.Quantity, value float64) {
	if !v.seen[q] {
		v.seen[q] = true
		v.order[v.n] = q
		v.n++
	}
	v.of[q] = value
}

// reading reads the rest of a line of readings. The decoder finds a bad end of
// line only at the time stamp, so nothing is kept before that.
func (w *work) reading(l *line, dec *lineprotocol.Decoder) *fault {
	t, f := w.tags(dec)
	if f != nil {
		return f
	}
	v, dec, f := w.quantities(l, dec)
	if f != nil {
		return f
	}
	at, f := w.time(l, dec)
	if f != nil {
		return f
	}
	for _, q := range v.order[:v.n] {
		w.batch.Readings = append(w.batch.Readings, ingest.Reading{Vessel: t.vessel, Quantity: q, Value: v.of[q], At: at})
	}
	return nil
}

// quantities reads the fields of a reading and refuses the bad ones. It returns
// the decoder to go on with.
func (w *work) quantities(l *line, dec *lineprotocol.Decoder) (v values, _ *lineprotocol.Decoder, _ *fault) {
	bad := 0
	for n := 0; ; n++ {
		key, kind, data, err := dec.NextFieldBytes()
		if err != nil {
			if dec = mend(l, err, n); dec == nil {
				return v, nil, syntax(err)
			}
			if key, _, data, err = dec.NextFieldBytes(); err != nil {
				return v, nil, syntax(err)
			}
			kind = lineprotocol.Unknown
		}
		if key == nil {
			return v, dec, nil
		}
		f := w.quantity(l, n, key, kind, data, &v)
		if f == nil {
			continue
		}
		if bad++; bad > maxBadFields {
			return v, nil, faultf(ingest.Unreadable, f.column, "more than %d bad fields in one line", maxBadFields)
		}
		w.refuse(l, f)
	}
}

// quantity reads one field.
func (w *work) quantity(l *line, n int, key []byte, kind lineprotocol.ValueKind, data []byte, v *values) *fault {
	known, ok := w.fields[string(key)]
	if !ok {
		column, _ := place(l.text, n)
		_, _, err := w.options.Units.Lookup(string(key))
		return faultf(ingest.UnknownField, column, "%v", err)
	}
	x, ok := number(kind, data)
	if ok {
		x = known.conv.ToKept(x)
	}
	if !ok || math.IsNaN(x) || math.IsInf(x, 0) {
		_, column := place(l.text, n)
		return faultf(ingest.BadValue, column, "%s=%s is no number that %s can have",
			key, short(string(l.value(column)), maxQuoted), known.quantity)
	}
	v.set(known.quantity, x)
	return nil
}

// value returns what stands at a column as it came, up to the end of the value.
func (l *line) value(column int) []byte {
	raw := l.raw[min(l.indent+column-1, len(l.raw)):]
	if len(raw) > 0 && raw[0] == '"' {
		return raw[:min(closing(raw, 0)+1, len(raw))]
	}
	if end := bytes.IndexAny(raw, ", \r"); end >= 0 {
		return raw[:end]
	}
	return raw
}

// number takes a finite number out of a field, and reports whether it holds one.
func number(kind lineprotocol.ValueKind, data []byte) (float64, bool) {
	v, err := lineprotocol.NewValueFromBytes(kind, data)
	if err != nil {
		return 0, false
	}
	switch kind {
	case lineprotocol.Float:
		return v.FloatV(), true
	case lineprotocol.Int:
		return float64(v.IntV()), true
	case lineprotocol.Uint:
		return float64(v.UintV()), true
	}
	return 0, false
}

// mend lets a line be read on behind a value that is no value at all, such as
// the nan that a sensor prints when it has lost its probe: the decoder gives
// the line up there. The word is replaced by as many zeros, so that columns
// stay, in a copy of the line. It returns a decoder that stands before field n
// of that, or nil if something else is wrong.
func mend(l *line, err error, n int) *lineprotocol.Decoder {
	start, end, ok := word(l.text, err)
	if !ok {
		return nil
	}
	l.text = bytes.Clone(l.text)
	for i := start; i < end; i++ {
		l.text[i] = '0'
	}
	dec := lineprotocol.NewDecoderWithBytes(l.text)
	dec.Next()
	for range n {
		if _, _, _, err := dec.NextFieldBytes(); err != nil {
			return nil
		}
	}
	return dec
}

// time reads the end of a line: its time stamp, or that there is none.
func (w *work) time(l *line, dec *lineprotocol.Decoder) (time.Time, *fault) {
	digits, err := dec.TimeBytes()
	if err != nil {
		return time.Time{}, syntax(err)
	}
	column := bytes.LastIndexByte(bytes.TrimRight(l.text, " \r"), ' ') + 2
	if digits == nil {
		if w.arrived.IsZero() {
			return time.Time{}, faultf(ingest.BadTime, 1, "no time stamp, and nobody knows when the line arrived")
		}
		return ingest.Stamp(w.arrived), nil
	}
	n, err := strconv.ParseInt(string(digits), 10, 64)
	if errors.Is(err, strconv.ErrRange) {
		return time.Time{}, faultf(ingest.BadTime, column, "time stamp %s is out of range", quote(digits))
	}
	if err != nil {
		return time.Time{}, faultf(ingest.Unreadable, column, "time stamp %s is no whole number", quote(digits))
	}
	at, err := w.options.Window.Read(n, w.options.Precision, w.arrived, w.reference)
	if err != nil {
		return time.Time{}, faultf(ingest.BadTime, column, "%v", err)
	}
	return ingest.Stamp(at), nil
}
