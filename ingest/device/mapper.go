package device

import (
	"bytes"
	"fmt"
	"time"
	"unicode/utf8"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// DefaultMaxPayload is the longest payload that is read unless Options say
// otherwise, in bytes.
const DefaultMaxPayload = 1 << 20

// Options tell a Mapper what it needs to know of the devices. The zero Options
// are ready to use.
type Options struct {
	Units      unit.Units
	Window     ingest.Window // how far a time may lie from the reference
	MaxPayload int           // bytes; 0 is DefaultMaxPayload
}

// Mapper reads the payloads of devices. It never changes and may be used by
// several goroutines.
type Mapper struct {
	options  Options
	mappings []mapping
}

// New makes a Mapper. Its error is a [*MappingError].
func New(mappings []Mapping, o Options) (*Mapper, error) {
	if o.MaxPayload == 0 {
		o.MaxPayload = DefaultMaxPayload
	}
	m := &Mapper{options: o}
	for i, given := range mappings {
		c, key, err := compile(given, o.Units)
		if err != nil {
			return nil, &MappingError{Index: i, Key: key, Topic: given.Topic, Err: err}
		}
		m.mappings = append(m.mappings, c)
	}
	return m, nil
}

// Filters returns the MQTT topic filters of the mappings, in their order.
func (m *Mapper) Filters() []string {
	filters := make([]string, 0, len(m.mappings))
	for i := range m.mappings {
		filters = append(filters, m.mappings[i].filter)
	}
	return filters
}

// Match reports whether a mapping takes the topic.
func (m *Mapper) Match(topic string) bool { return m.find(topic) != nil }

// find returns the first mapping that takes the topic.
func (m *Mapper) find(topic string) *mapping {
	for i := range m.mappings {
		if TopicMatch(m.mappings[i].filter, topic) {
			return &m.mappings[i]
		}
	}
	return nil
}

// Decode reads one payload that came in at arrived on topic, by the first
// mapping that takes the topic. What it returns has no Seq, and nothing of it
// refers to payload. An empty payload says nothing.
//
// Times are judged against reference as by [ingest.Window.Check]: pass arrived
// again for live readings, the time of the readings so far for a replay. A
// payload without a time was measured when it arrived.
func (m *Mapper) Decode(topic string, payload []byte, arrived, reference time.Time) ingest.Batch {
	w := work{topic: topic, payload: payload, window: m.options.Window, arrived: arrived, reference: reference}
	w.batch.Arrived = ingest.Stamp(arrived)
	mapping := m.find(topic)
	switch {
	case len(payload) == 0:
	case mapping == nil:
		w.refuse(ingest.Unreadable, 0, "no mapping takes the topic %q", short(topic))
	case len(payload) > m.options.MaxPayload:
		w.refuse(ingest.TooLarge, 0, "payload of %d bytes: at most %d are read", len(payload), m.options.MaxPayload)
	case !utf8.Valid(payload):
		w.refuse(ingest.NotUTF8, 0, "bytes that are no UTF-8 text")
	case mapping.format == Number:
		w.number(mapping)
	default:
		w.json(mapping)
	}
	return w.batch
}

// work is one payload being read.
type work struct {
	batch              ingest.Batch
	topic              string
	payload            []byte
	window             ingest.Window
	arrived, reference time.Time
	input              []byte // copy of payload for its refusals, made when first needed
}

// refuse sets the payload, or a part of it, aside. The offset is where in it the
// fault shows, in bytes from 1; 0 is unknown.
func (w *work) refuse(r ingest.Reason, offset int, format string, args ...any) {
	if w.input == nil {
		w.input = bytes.Clone(w.payload[:min(len(w.payload), ingest.MaxRefusedInput)])
	}
	f := ingest.Refused{Reason: r, Detail: fmt.Sprintf(format, args...), Topic: w.topic,
		Input: w.input, Size: len(w.payload), Arrived: w.batch.Arrived}
	if offset > 0 {
		before := w.payload[:min(offset-1, len(w.payload))]
		f.Line = bytes.Count(before, []byte("\n")) + 1
		f.Column = len(before) - bytes.LastIndexByte(before, '\n')
		f.Detail = fmt.Sprintf("line %d, column %d: %s", f.Line, f.Column, f.Detail)
	}
	w.batch.Refused = append(w.batch.Refused, f)
}

// keep adds a reading, or refuses a value that the unit cannot have.
func (w *work) keep(vessel string, s *source, x float64, at time.Time, offset int) {
	value := s.conv.ToKept(x)
	if !finite(value) {
		w.refuse(ingest.BadValue, offset, "%s=%v is no number that %s can have", s.name, x, s.quantity)
		return
	}
	w.batch.Readings = append(w.batch.Readings, ingest.Reading{Vessel: vessel, Quantity: s.quantity, Value: value, At: at})
}

// vessel returns a name that was read, or refuses the payload.
func (w *work) vessel(name string) (string, bool) {
	if !ingest.ValidVesselName(name) {
		w.refuse(ingest.BadVessel, 0, "%q cannot name a vessel: want 1 to %d bytes without control characters",
			short(name), ingest.MaxVesselName)
		return "", false
	}
	return name, true
}
