package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// A batch is written as one version byte, the names of its vessels, its
// readings and its entries. Counts and lengths are unsigned varints, times
// signed varints of ms, a reading's time as the difference from the one
// before it (the first from the arrival of the batch), values the eight bytes
// of an IEEE 754 double, little endian, so that they come back bit for bit.
const codecVersion = 1

// errShort: the blob ends in the middle of something.
var errShort = errors.New("it ends too early")

func encodeBatch(b ingest.Batch) []byte {
	index := make(map[string]uint64)
	var names []string
	for _, r := range b.Readings {
		if _, ok := index[r.Vessel]; !ok {
			index[r.Vessel] = uint64(len(names))
			names = append(names, r.Vessel)
		}
	}
	out := make([]byte, 0, 32+16*len(names)+14*len(b.Readings)+128*len(b.Entries))
	out = append(out, codecVersion)
	out = binary.AppendUvarint(out, uint64(len(names)))
	for _, name := range names {
		out = appendText(out, name)
	}
	out = binary.AppendUvarint(out, uint64(len(b.Readings)))
	before := b.Arrived.UnixMilli()
	for _, r := range b.Readings {
		ms := r.At.UnixMilli()
		out = binary.AppendUvarint(out, index[r.Vessel])
		out = append(out, byte(r.Quantity))
		out = binary.AppendVarint(out, ms-before)
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(r.Value))
		before = ms
	}
	out = binary.AppendUvarint(out, uint64(len(b.Entries)))
	for _, e := range b.Entries {
		out = appendEntry(out, e)
	}
	return out
}

// encodeEntry writes one entry, with a version byte of its own.
func encodeEntry(e ingest.Entry) []byte { return appendEntry([]byte{codecVersion}, e) }

func appendEntry(out []byte, e ingest.Entry) []byte {
	out = appendText(out, e.Vessel)
	out = appendText(out, string(e.Kind))
	out = binary.AppendVarint(out, e.At.UnixMilli())
	out = binary.AppendVarint(out, e.Written.UnixMilli())
	out = append(out, flag(e.WrittenOnArrival))
	out = appendText(out, e.Who)
	out = binary.AppendUvarint(out, uint64(len(e.Fields)))
	for _, name := range slices.Sorted(maps.Keys(e.Fields)) {
		v := e.Fields[name]
		out = appendText(out, name)
		out = append(out, v.Form, flag(v.Yes))
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v.Num))
		out = appendText(out, v.Text)
	}
	return out
}

func appendText(out []byte, s string) []byte {
	return append(binary.AppendUvarint(out, uint64(len(s))), s...)
}

func flag(b bool) byte {
	if b {
		return 1
	}
	return 0
}

func decodeBatch(data []byte, seq int64, arrived time.Time) (ingest.Batch, error) {
	b := ingest.Batch{Seq: seq, Arrived: arrived}
	d := decoder{rest: data}
	d.version()
	names := make([]string, d.count(1))
	for i := range names {
		names[i] = d.text()
	}
	before := arrived.UnixMilli()
	if n := d.count(11); n > 0 { // at least 11 bytes a reading
		b.Readings = make([]ingest.Reading, n)
	}
	for i := range b.Readings {
		r := &b.Readings[i]
		r.Vessel = d.name(names)
		r.Quantity = ingest.Quantity(d.byte())
		before += d.varint()
		r.At = time.UnixMilli(before).UTC()
		r.Value = d.float()
	}
	if n := d.count(7); n > 0 {
		b.Entries = make([]ingest.Entry, n)
	}
	for i := range b.Entries {
		b.Entries[i] = d.entry()
	}
	return b, d.end()
}

func decodeEntry(data []byte) (ingest.Entry, error) {
	d := decoder{rest: data}
	d.version()
	e := d.entry()
	return e, d.end()
}

// decoder reads a blob from the front; after the first error it returns zero
// values only.
type decoder struct {
	rest []byte
	err  error
}

func (d *decoder) fail(err error) {
	if d.err == nil {
		d.err = err
	}
	d.rest = nil
}

func (d *decoder) end() error {
	if d.err == nil && len(d.rest) > 0 {
		return fmt.Errorf("%d bytes are left over", len(d.rest))
	}
	return d.err
}

func (d *decoder) version() {
	if v := d.byte(); d.err == nil && v != codecVersion {
		d.fail(fmt.Errorf("its encoding has the unknown version %d", v))
	}
}

func (d *decoder) take(n uint64) []byte {
	if n > uint64(len(d.rest)) {
		d.fail(errShort)
		return nil
	}
	b := d.rest[:n]
	d.rest = d.rest[n:]
	return b
}

func (d *decoder) byte() byte {
	if b := d.take(1); d.err == nil {
		return b[0]
	}
	return 0
}

func (d *decoder) float() float64 {
	if b := d.take(8); d.err == nil {
		return math.Float64frombits(binary.LittleEndian.Uint64(b))
	}
	return 0
}

func (d *decoder) uvarint() uint64 {
	u, n := binary.Uvarint(d.rest)
	if n <= 0 {
		d.fail(errShort)
		return 0
	}
	d.rest = d.rest[n:]
	return u
}

func (d *decoder) varint() int64 {
	i, n := binary.Varint(d.rest)
	if n <= 0 {
		d.fail(errShort)
		return 0
	}
	d.rest = d.rest[n:]
	return i
}

// count reads how many things follow, each of at least size bytes: a damaged
// number must not ask for more memory than the blob can fill.
func (d *decoder) count(size uint64) int {
	n := d.uvarint()
	if n > uint64(len(d.rest))/size {
		d.fail(errShort)
		return 0
	}
	return int(n)
}

func (d *decoder) text() string { return string(d.take(d.uvarint())) }

func (d *decoder) name(names []string) string {
	i := d.uvarint()
	if d.err == nil && i >= uint64(len(names)) {
		d.fail(fmt.Errorf("a reading names vessel %d of %d", i, len(names)))
	}
	if d.err != nil {
		return ""
	}
	return names[i]
}

func (d *decoder) entry() (e ingest.Entry) {
	e.Vessel = d.text()
	e.Kind = ingest.Kind(d.text())
	e.At = time.UnixMilli(d.varint()).UTC()
	e.Written = time.UnixMilli(d.varint()).UTC()
	e.WrittenOnArrival = d.byte() != 0
	e.Who = d.text()
	n := d.count(12)
	if n == 0 {
		return e
	}
	e.Fields = make(map[string]ingest.Value, n)
	for range n {
		name := d.text()
		v := ingest.Value{Form: d.byte(), Yes: d.byte() != 0, Num: d.float(), Text: d.text()}
		e.Fields[name] = v
	}
	return e
}
