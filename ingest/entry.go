package ingest

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"slices"
	"strconv"
	"time"
)

// Kind names what somebody did at the shelf.
type Kind string

// The kinds of entry.
const (
	Fill         Kind = "fill"
	Chlorinate   Kind = "chlorinate"
	Neutralise   Kind = "neutralise"
	ChlorineTest Kind = "chlorine_test"
	Dump         Kind = "dump"
	AcidRinse    Kind = "acid_rinse"
	Dose         Kind = "dose"
	Inoculate    Kind = "inoculate"
	Sample       Kind = "sample"
	Count        Kind = "count"
	Look         Kind = "look"
	Harvest      Kind = "harvest"
	Feed         Kind = "feed"
	TopUp        Kind = "top_up"
	WipeSensor   Kind = "wipe_sensor"
	FitSensor    Kind = "fit_sensor"
	Move         Kind = "move"
	Set          Kind = "set"
	Remark       Kind = "remark"
	End          Kind = "end"

	Clean    Kind = "clean"    // scrubbed and wiped out, before the bleach
	Rinse    Kind = "rinse"    // with clean water: nothing of bleach, thiosulfate or acid is left
	Correct  Kind = "correct"  // another entry was written wrongly: this is how it was
	Withdraw Kind = "withdraw" // another entry was written and never happened
)

// Kinds lists every kind of entry.
var Kinds = []Kind{Fill, Chlorinate, Neutralise, ChlorineTest, Dump, AcidRinse, Dose, Inoculate, Sample, Count,
	Look, Harvest, Feed, TopUp, WipeSensor, FitSensor, Move, Set, Remark, End, Clean, Rinse, Correct, Withdraw}

// Valid reports whether k is one of Kinds.
func (k Kind) Valid() bool { return slices.Contains(Kinds, k) }

// Value is the value of one field of an entry: exactly one of its forms.
type Value struct {
	Form byte    `json:"form"`           // 'f' number, 's' text, 'b' yes or no
	Num  float64 `json:"num,omitempty"`  // for 'f'; finite
	Text string  `json:"text,omitempty"` // for 's'
	Yes  bool    `json:"yes,omitempty"`  // for 'b'
}

// Num, Text and Bool make a Value.
func Num(f float64) Value { return Value{Form: 'f', Num: f} }

// Text makes a Value of a string.
func Text(s string) Value { return Value{Form: 's', Text: s} }

// Bool makes a Value of yes or no.
func Bool(b bool) Value { return Value{Form: 'b', Yes: b} }

// String shows v as a person would write it.
func (v Value) String() string {
	switch v.Form {
	case 'f':
		return strconv.FormatFloat(v.Num, 'g', -1, 64)
	case 'b':
		return strconv.FormatBool(v.Yes)
	}
	return v.Text
}

// Entry is one line of the logbook: what was done to a vessel, when it was
// done and when that was written down. What its fields mean is said by the
// logbook package.
type Entry struct {
	Vessel  string
	Kind    Kind
	At      time.Time // when it happened: UTC, whole milliseconds
	Written time.Time // when it was written: UTC, whole milliseconds
	// WrittenOnArrival says that the entry itself did not tell when it was
	// written, so that Written is the time it came in. Written is then no
	// part of the identity: a repeated delivery is the same entry.
	WrittenOnArrival bool
	Who              string           // who wrote it, empty if not said
	Fields           map[string]Value // such as volume_l, refilled, lot, strain
}

// Float returns the number in the field of that name, and whether there is one.
func (e Entry) Float(name string) (float64, bool) {
	v, ok := e.Fields[name]
	return v.Num, ok && v.Form == 'f'
}

// Str returns the text in the field of that name, empty if there is none.
func (e Entry) Str(name string) string {
	if v := e.Fields[name]; v.Form == 's' {
		return v.Text
	}
	return ""
}

// Flag returns the yes or no in the field of that name, false if there is none.
func (e Entry) Flag(name string) bool {
	v := e.Fields[name]
	return v.Form == 'b' && v.Yes
}

// ID is the identity of the entry, the same for every delivery of it: 32
// hexadecimal digits taken from its content.
func (e Entry) ID() string {
	h := sha256.New()
	text := func(s string) {
		var n [8]byte
		binary.LittleEndian.PutUint64(n[:], uint64(len(s)))
		h.Write(n[:])
		h.Write([]byte(s))
	}
	number := func(u uint64) {
		var n [8]byte
		binary.LittleEndian.PutUint64(n[:], u)
		h.Write(n[:])
	}
	text(e.Vessel)
	text(string(e.Kind))
	number(uint64(e.At.UnixMilli()))
	if !e.WrittenOnArrival {
		number(uint64(e.Written.UnixMilli()))
	}
	text(e.Who)
	names := make([]string, 0, len(e.Fields))
	for name := range e.Fields {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		v := e.Fields[name]
		text(name)
		h.Write([]byte{v.Form})
		number(math.Float64bits(v.Num))
		text(v.Text)
		if v.Yes {
			h.Write([]byte{1})
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}
