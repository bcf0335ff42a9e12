package lineproto

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// AppendReading appends readings to dst as lines with time stamps in
// nanoseconds, in the order given; neighbours of one vessel and time share a
// line. Decoding brings the same readings back, but for what of their time lies
// below a millisecond. After an error, which tells the reading, dst is as it was.
func AppendReading(dst []byte, readings ...ingest.Reading) ([]byte, error) {
	var enc lineprotocol.Encoder
	enc.SetBuffer(dst)
	var on [unit.Count]bool // the quantities on the line so far
	for i, r := range readings {
		value, ok := lineprotocol.FloatValue(r.Value)
		if !ok || !r.Quantity.Valid() || !ingest.ValidVesselName(r.Vessel) || !writable(r.At) {
			return dst, fmt.Errorf("write reading %d: vessel %q, %v of %v at %v is no reading", i+1, r.Vessel, r.Quantity, r.Value, r.At)
		}
		last := i - 1
		if i == 0 || readings[last].Vessel != r.Vessel || !readings[last].At.Equal(r.At) || on[r.Quantity] {
			if i > 0 {
				enc.EndLine(readings[last].At)
			}
			on = [unit.Count]bool{}
			enc.StartLine(reading)
			enc.AddTag("vessel", r.Vessel)
		}
		on[r.Quantity] = true
		enc.AddField(r.Quantity.Field(), value)
	}
	if n := len(readings); n > 0 {
		enc.EndLine(readings[n-1].At)
	}
	if err := enc.Err(); err != nil {
		return dst, fmt.Errorf("write readings: %w", err)
	}
	return enc.Bytes(), nil
}

// AppendEntry appends an entry to dst as a line. Decoding brings the same entry
// back, but for what of its times lies below a millisecond. After an error,
// which names the entry, dst is as it was.
func AppendEntry(dst []byte, e ingest.Entry) ([]byte, error) {
	if !ingest.ValidVesselName(e.Vessel) || !e.Kind.Valid() || !writable(e.At) || !writable(e.Written) {
		return dst, fmt.Errorf("write entry: %q of vessel %q at %v, written %v, is no entry", e.Kind, e.Vessel, e.At, e.Written)
	}
	var enc lineprotocol.Encoder
	enc.SetBuffer(dst)
	enc.StartLine(event)
	enc.AddTag("kind", string(e.Kind))
	enc.AddTag("vessel", e.Vessel)
	for _, name := range slices.Sorted(maps.Keys(e.Fields)) {
		value, err := fieldValue(name, e.Fields[name])
		if err != nil {
			return dst, fmt.Errorf("write entry: %s of vessel %q: field %q: %w", e.Kind, e.Vessel, name, err)
		}
		enc.AddField(name, value)
	}
	if e.Who != "" {
		value, err := textValue(e.Who)
		if err != nil {
			return dst, fmt.Errorf("write entry: %s of vessel %q: who: %w", e.Kind, e.Vessel, err)
		}
		enc.AddField(who, value)
	}
	enc.AddField(writtenAt, lineprotocol.IntValue(e.Written.UnixNano()))
	if e.WrittenOnArrival {
		enc.AddField(writtenOnArrival, lineprotocol.BoolValue(true))
	}
	enc.EndLine(e.At)
	if err := enc.Err(); err != nil {
		return dst, fmt.Errorf("write entry: %s of vessel %q: %w", e.Kind, e.Vessel, err)
	}
	return enc.Bytes(), nil
}

func fieldValue(name string, v ingest.Value) (lineprotocol.Value, error) {
	if name == who || name == writtenAt || name == writtenOnArrival {
		return lineprotocol.Value{}, errors.New("the name is taken for the entry itself")
	}
	switch v.Form {
	case 'f':
		if value, ok := lineprotocol.FloatValue(v.Num); ok {
			return value, nil
		}
		return lineprotocol.Value{}, fmt.Errorf("%v is no finite number", v.Num)
	case 'b':
		return lineprotocol.BoolValue(v.Yes), nil
	case 's':
		return textValue(v.Text)
	}
	return lineprotocol.Value{}, errors.New("the value has no form")
}

func textValue(s string) (lineprotocol.Value, error) {
	if value, ok := lineprotocol.StringValue(s); ok && len(s) <= MaxText {
		return value, nil
	}
	return lineprotocol.Value{}, fmt.Errorf("%s is no UTF-8 text of at most %d bytes", quote([]byte(s)), MaxText)
}

// writable reports whether t is a time that nanoseconds since 1970 can say.
func writable(t time.Time) bool { return t.Year() > 1677 && t.Year() < 2262 }
