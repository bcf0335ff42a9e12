// Package lineproto takes readings and entries out of line protocol and puts
// them into it. It does no input or output and reads no clock.
//
// A reading is a line like
//
//	reading,vessel=C07 od=0.412,temp_c=21.3 1764059400000000000
//
// with any of the fields of [unit.Fields]; an entry of the logbook is one like
//
//	event,vessel=C07,kind=harvest volume_l=6,refilled=true,written_at=1764059460000000000i 1764059400000000000
//
// A bad line costs only itself, and a bad field of a reading only that field.
package lineproto

import (
	"bytes"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// DefaultMaxPayload is the longest payload that is read unless Options say
// otherwise, in bytes.
const DefaultMaxPayload = 1 << 20

// MaxText is the longest text that a field of an entry may hold, in bytes, as
// line protocol has it.
const MaxText = 64 << 10

// Options tell a Decoder what it needs to know of the senders. The zero Options
// are ready to use.
type Options struct {
	Precision  ingest.Precision // of the time stamp at the end of a line; empty is ns
	Units      unit.Units
	Window     ingest.Window // how far a time may lie from the reference
	MaxPayload int           // bytes; 0 is DefaultMaxPayload
}

// Decoder reads payloads of line protocol. It may be used by several goroutines.
type Decoder struct {
	options Options
	fields  map[string]field
	names   names
}

// field is what the name of a reading's field stands for.
type field struct {
	quantity unit.Quantity
	conv     unit.Conversion
}

// New makes a Decoder. It fails if the precision is none or the lamp's factor
// cannot be one.
func New(o Options) (*Decoder, error) {
	if !o.Precision.Valid() {
		return nil, fmt.Errorf("line protocol: %s: want ns, us, ms or s", o.Precision)
	}
	if o.MaxPayload == 0 {
		o.MaxPayload = DefaultMaxPayload
	}
	d := &Decoder{options: o, fields: map[string]field{}}
	for _, name := range unit.Fields() {
		q, conv, err := o.Units.Lookup(name)
		if err != nil {
			return nil, fmt.Errorf("line protocol: field %q: %w", name, err)
		}
		d.fields[name] = field{q, conv}
	}
	return d, nil
}

// Decode reads the lines of one payload that came in at arrived. What it
// returns has no Seq, its refusals no Topic, and nothing of it refers to
// payload. Every line is kept, refused, empty or a comment.
//
// Times are judged against reference as by [ingest.Window.Check]: pass arrived
// again for live readings, the time of the readings so far for a replay, the
// zero time for a record of any age. A line without a time stamp happened when
// it arrived.
func (d *Decoder) Decode(payload []byte, arrived, reference time.Time) ingest.Batch {
	w := work{Decoder: d, arrived: arrived, reference: reference}
	w.batch.Arrived = ingest.Stamp(arrived)
	if len(payload) > d.options.MaxPayload {
		w.tooLarge(payload)
		return w.batch
	}
	w.batch.Readings = make([]ingest.Reading, 0, min(bytes.Count(payload, []byte("=")), maxGuess))
	for n := 1; len(payload) > 0; n++ {
		var raw []byte
		raw, payload, _ = bytes.Cut(payload, []byte("\n"))
		w.line(n, raw)
	}
	return w.batch
}

// maxGuess bounds the room that is made beforehand for readings.
const maxGuess = 1024

// work is one payload being read.
type work struct {
	*Decoder
	batch              ingest.Batch
	arrived, reference time.Time
}

// tooLarge refuses a payload as a whole.
func (w *work) tooLarge(payload []byte) {
	w.batch.Refused = append(w.batch.Refused, ingest.Refused{
		Reason:  ingest.TooLarge,
		Detail:  fmt.Sprintf("payload of %d bytes: at most %d are read", len(payload), w.options.MaxPayload),
		Input:   bytes.Clone(payload[:min(len(payload), ingest.MaxRefusedInput)]),
		Size:    len(payload),
		Arrived: w.batch.Arrived,
	})
}
