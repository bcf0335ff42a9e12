package page

import (
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// notKnown stands wherever a value is missing. NaN never reaches a screen.
const notKnown = "not known yet"

// clock writes times for people in one room.
type clock struct {
	zone *time.Location
	now  time.Time
}

// moment is a time for people and for machines.
type moment struct {
	ISO  string // RFC 3339, empty where the time is not known
	Text string
}

// at writes t in the room's zone: the hour alone today, the day as well on
// other days. The zero time is not known.
func (c clock) at(t time.Time) moment {
	if t.IsZero() {
		return moment{Text: notKnown}
	}
	l, n := t.In(c.zone), c.now.In(c.zone)
	layout := "Mon 2 Jan 2006 15:04 "
	switch {
	case l.YearDay() == n.YearDay() && l.Year() == n.Year():
		layout = "15:04 "
	case l.Year() == n.Year():
		layout = "Mon 2 Jan 15:04 "
	}
	return moment{ISO: l.Format(time.RFC3339), Text: l.Format(layout) + zoneName(l)}
}

// full writes t with its day, whatever day it is now.
func (c clock) full(t time.Time) moment {
	if t.IsZero() {
		return moment{Text: notKnown}
	}
	l := t.In(c.zone)
	return moment{ISO: l.Format(time.RFC3339), Text: l.Format("Mon 2 Jan 2006, 15:04 ") + zoneName(l)}
}

// day writes the day of t alone.
func (c clock) day(t time.Time) string { return t.In(c.zone).Format("Mon 2 Jan") }

// since writes how long ago t was, empty where that is not known or ahead.
func (c clock) since(t time.Time) string {
	if t.IsZero() || t.After(c.now) {
		return ""
	}
	return span(c.now.Sub(t))
}

// night reports whether it is dark in the room's part of the world: from seven
// in the evening to seven in the morning, local time.
func (c clock) night() bool {
	h := c.now.In(c.zone).Hour()
	return h >= 19 || h < 7
}

// zoneName is the abbreviation of t's zone; a zone without one is written as
// its distance from UTC.
func zoneName(t time.Time) string {
	name, _ := t.Zone()
	if strings.HasPrefix(name, "+") || strings.HasPrefix(name, "-") {
		return "UTC" + name
	}
	return name
}

// span writes a length of time in its two largest units.
func span(d time.Duration) string {
	d = max(d, 0)
	two := func(a int64, ua string, b int64, ub string) string {
		s := strconv.FormatInt(a, 10) + " " + ua
		if b != 0 {
			s += " " + strconv.FormatInt(b, 10) + " " + ub
		}
		return s
	}
	switch {
	case d < time.Minute:
		return two(int64(d/time.Second), "s", 0, "")
	case d < time.Hour:
		return two(int64(d/time.Minute), "min", 0, "")
	case d < 24*time.Hour:
		return two(int64(d/time.Hour), "h", int64(d/time.Minute)%60, "min")
	}
	return two(int64(d/(24*time.Hour)), "d", int64(d/time.Hour)%24, "h")
}

// roughly writes a length of time in its largest unit.
func roughly(d time.Duration) string {
	s := strings.Fields(span(d))
	return s[0] + " " + s[1]
}

// figure writes v with three significant digits and no more than three
// decimals, the least a probe tells.
func figure(v float64) string {
	if !finite(v) {
		return notKnown
	}
	decimals := 3
	switch a := math.Abs(v); {
	case a >= 99.95:
		decimals = 0
	case a >= 9.995:
		decimals = 1
	case a >= 0.9995:
		decimals = 2
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return "0"
	}
	return strings.Replace(s, "-", "−", 1)
}

// plain is figure without the zeros at its end: for what is set or counted, not
// measured to a digit.
func plain(v float64) string {
	s := figure(v)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// measured writes a reading with the digits its sensor is good for.
func measured(q ingest.Quantity, v float64) string {
	if !finite(v) {
		return notKnown
	}
	step := 0.1
	switch a := math.Abs(v); {
	case q == unit.OD || q == unit.OD2:
		return figure(v)
	case q == unit.Light && a >= 10:
		step = 1
	case q == unit.PH || q == unit.Airflow && a < 1:
		step = 0.01
	}
	return plain(math.Round(v/step) * step)
}

// largest is the greatest value that is shown or drawn, either side of zero: no
// quantity comes near it, and scales stay where their arithmetic holds.
const largest = 1e12

// finite reports whether v is a number that can be shown.
func finite(v float64) bool { return math.Abs(v) <= largest } // false for NaN

// doubling writes a doubling time given in days.
func doubling(days float64) string {
	switch {
	case !finite(days) || days <= 0:
		return ""
	case days < 2:
		return strconv.Itoa(int(math.Round(days*24))) + " h"
	case days < 100:
		return strconv.FormatFloat(days, 'f', 1, 64) + " d"
	}
	return "over 100 d"
}

// count writes n and its noun: count(1, "vessel") is "1 vessel".
func count(n int, noun string) string {
	s := strconv.Itoa(n) + " " + noun
	if n == 1 {
		return s
	}
	return s + "s"
}

// sentence ends s with one full stop and starts it with a capital.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(r)) + s[n:]
	if strings.ContainsAny(s[len(s)-1:], ".!?") {
		return s
	}
	return s + "."
}

// isolate fits a name that somebody else chose into plain text: its letters
// may run the other way without turning the words around it. Where there is
// markup, <bdi> does this.
func isolate(name string) string {
	ascii := true
	for i := 0; i < len(name); i++ {
		ascii = ascii && name[i] < utf8.RuneSelf
	}
	if ascii {
		return name
	}
	name = strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Bidi_Control, r) {
			return -1
		}
		return r
	}, name)
	return "\u2068" + name + "\u2069"
}

// legible writes bytes of unknown origin so that each of them can be seen:
// printing characters as they are, the others escaped.
func legible(b []byte) string {
	var s strings.Builder
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		switch {
		case r == utf8.RuneError && n == 1:
			s.WriteString(`\x` + strconv.FormatUint(0x100|uint64(b[0]), 16)[1:])
		case r == '\n' || unicode.IsPrint(r):
			s.WriteRune(r)
		default:
			q := strconv.QuoteRune(r)
			s.WriteString(q[1 : len(q)-1])
		}
		b = b[n:]
	}
	return s.String()
}
