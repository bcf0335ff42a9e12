package ingest

import (
	"fmt"
	"time"
)

// Precision is the unit in which a time stamp counts since 1970.
type Precision string

// The precisions. An empty Precision stands for Nanoseconds.
const (
	Nanoseconds  Precision = "ns"
	Microseconds Precision = "us"
	Milliseconds Precision = "ms"
	Seconds      Precision = "s"
)

// Precisions lists every Precision, the coarsest first.
var Precisions = []Precision{Seconds, Milliseconds, Microseconds, Nanoseconds}

var precisionWords = map[Precision]struct {
	unit time.Duration
	name string
}{
	"":           {time.Nanosecond, "nanoseconds"},
	Nanoseconds:  {time.Nanosecond, "nanoseconds"},
	Microseconds: {time.Microsecond, "microseconds"},
	Milliseconds: {time.Millisecond, "milliseconds"},
	Seconds:      {time.Second, "seconds"},
}

// Valid reports whether p is one of Precisions or empty.
func (p Precision) Valid() bool { return precisionWords[p].unit != 0 }

// Duration returns one unit of p, 0 if p is not valid.
func (p Precision) Duration() time.Duration { return precisionWords[p].unit }

// String returns the name of p for people, such as "milliseconds".
func (p Precision) String() string {
	if w, ok := precisionWords[p]; ok {
		return w.name
	}
	return fmt.Sprintf("unknown precision %q", string(p))
}

// The years that a time stamp can lie in, as seconds since 1970: those that
// RFC 3339 can write.
const (
	firstSecond = -62167219200 // 0000-01-01T00:00:00Z
	lastSecond  = 253402300799 // 9999-12-31T23:59:59Z
)

// Time returns the time n units after 1970, and whether it lies in the years 0
// to 9999.
func (p Precision) Time(n int64) (time.Time, bool) {
	perSecond := int64(time.Second / max(p.Duration(), 1))
	sec, part := n/perSecond, n%perSecond
	if sec < firstSecond || sec > lastSecond {
		return time.Time{}, false
	}
	return time.Unix(sec, part*int64(p.Duration())).UTC(), true
}
