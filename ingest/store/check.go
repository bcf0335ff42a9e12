package store

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// The times that can be kept, ms since 1970: from its start to the end of the
// year 9999.
const (
	minTime = 0
	maxTime = 253402300799999
)

// Usable sets aside what no store can keep. Those who parse messages have
// refused it already; here it is made sure that one bad value never stops the
// batch it came with. Times are brought to whole milliseconds. The slices of
// b are not changed.
func Usable(b ingest.Batch) ingest.Batch {
	out := ingest.Batch{Seq: b.Seq, Arrived: ingest.Stamp(b.Arrived), Refused: slices.Clone(b.Refused)}
	refuse := func(reason ingest.Reason, format string, args ...any) {
		out.Refused = append(out.Refused, ingest.Refused{Reason: reason, Detail: fmt.Sprintf(format, args...), Arrived: b.Arrived})
	}
	out.Readings = make([]ingest.Reading, 0, len(b.Readings))
	for _, r := range b.Readings {
		if reason, why := faultOfReading(r); why != "" {
			refuse(reason, "reading of vessel %q, %s: %s", r.Vessel, r.Quantity, why)
			continue
		}
		r.At = ingest.Stamp(r.At)
		out.Readings = append(out.Readings, r)
	}
	for _, e := range b.Entries {
		if reason, why := faultOfEntry(e); why != "" {
			refuse(reason, "entry %q of vessel %q: %s", e.Kind, e.Vessel, why)
			continue
		}
		e.At, e.Written = ingest.Stamp(e.At), ingest.Stamp(e.Written)
		out.Entries = append(out.Entries, e)
	}
	for i, r := range out.Refused {
		out.Refused[i] = cut(r)
	}
	return out
}

func faultOfReading(r ingest.Reading) (ingest.Reason, string) {
	switch {
	case !ingest.ValidVesselName(r.Vessel):
		return ingest.BadVessel, "no name of a vessel"
	case !r.Quantity.Valid():
		return ingest.UnknownField, fmt.Sprintf("no quantity has the number %d", uint8(r.Quantity))
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		return ingest.BadValue, fmt.Sprintf("the value %g is not finite", r.Value)
	case !keepable(r.At):
		return ingest.BadTime, fmt.Sprintf("the time %s cannot be kept", r.At)
	}
	return "", ""
}

func faultOfEntry(e ingest.Entry) (ingest.Reason, string) {
	switch {
	case !ingest.ValidVesselName(e.Vessel):
		return ingest.BadVessel, "no name of a vessel"
	case !e.Kind.Valid():
		return ingest.BadEntry, "no such kind of entry"
	case !keepable(e.At):
		return ingest.BadTime, fmt.Sprintf("the time %s cannot be kept", e.At)
	case !keepable(e.Written):
		return ingest.BadTime, fmt.Sprintf("the time of writing %s cannot be kept", e.Written)
	}
	for name, v := range e.Fields {
		if !strings.ContainsRune("fsb", rune(v.Form)) {
			return ingest.BadEntry, fmt.Sprintf("field %q has no value", name)
		}
		if math.IsNaN(v.Num) || math.IsInf(v.Num, 0) {
			return ingest.BadEntry, fmt.Sprintf("field %q: %g is not finite", name, v.Num)
		}
	}
	return "", ""
}

func keepable(t time.Time) bool {
	ms := t.UnixMilli()
	return ms >= minTime && ms <= maxTime
}

// maxDetail bounds the sentence kept with refused input, in bytes.
const maxDetail = 500

func cut(r ingest.Refused) ingest.Refused {
	if r.Size < len(r.Input) {
		r.Size = len(r.Input)
	}
	if len(r.Input) > ingest.MaxRefusedInput {
		r.Input = r.Input[:ingest.MaxRefusedInput]
	}
	if len(r.Detail) > maxDetail {
		r.Detail = r.Detail[:maxDetail]
	}
	r.Detail = strings.ToValidUTF8(r.Detail, "\ufffd")
	r.Arrived = ingest.Stamp(r.Arrived)
	return r
}
