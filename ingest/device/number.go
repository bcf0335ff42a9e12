package device

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/nightshelf/nightshelf/ingest"
)

// number reads a payload that is one bare number.
func (w *work) number(m *mapping) {
	name := m.vesselName
	if name == "" {
		var ok bool
		if name, ok = w.vessel(m.vesselOf(w.topic)); !ok {
			return
		}
	}
	if w.arrived.IsZero() {
		w.refuse(ingest.BadTime, 0, "no time, and nobody knows when the message arrived")
		return
	}
	text := bytes.TrimSpace(w.payload)
	start := bytes.Index(w.payload, text) + 1
	x, f := parseNumber(string(text))
	if f != nil {
		w.refuse(f.reason, start+f.offset, "%s", f.text)
		return
	}
	w.keep(name, &m.sources[0], x, ingest.Stamp(w.arrived), start)
}

// fault is why a text is no number.
type fault struct {
	reason ingest.Reason
	offset int // of what is wrong, in bytes from 0
	text   string
}

// parseNumber reads a decimal number, such as -0.02 or 1.5e-3.
func parseNumber(s string) (float64, *fault) {
	end, digits := scanNumber(s)
	rest := strings.TrimSpace(s[end:])
	after, _ := utf8.DecodeRuneInString(rest)
	q := strconv.Quote(short(s))
	switch {
	case s == "":
		return 0, &fault{ingest.Unreadable, 0, "blank, want a number"}
	case notFinite(s):
		return 0, &fault{ingest.BadValue, 0, q + " is no finite number"}
	case digits && rest == "":
		x, err := strconv.ParseFloat(s, 64)
		if errors.Is(err, strconv.ErrRange) {
			return 0, &fault{ingest.BadValue, 0, q + " is too large a number"}
		}
		if err == nil {
			return x, nil
		}
	case digits && len(rest) > 1 && rest[0] == ',' && isDigit(rest[1]):
		return 0, &fault{ingest.Unreadable, end, q + " has a decimal comma: send a decimal point"}
	case digits && (unicode.IsLetter(after) || strings.ContainsRune("°%", after)):
		return 0, &fault{ingest.Unreadable, end, q + " carries a unit: send the number alone"}
	}
	return 0, &fault{ingest.Unreadable, end, q + " is no number"}
}

// scanNumber returns where the number at the front of s ends, and whether it
// has a digit: [sign] digits [. digits] [e [sign] digits].
func scanNumber(s string) (end int, digits bool) {
	i := 0
	run := func() bool {
		from := i
		for i < len(s) && isDigit(s[i]) {
			i++
		}
		return i > from
	}
	sign := func() {
		if i < len(s) && (s[i] == '-' || s[i] == '+') {
			i++
		}
	}
	sign()
	digits = run()
	if i < len(s) && s[i] == '.' {
		i++
		digits = run() || digits
	}
	end = i
	if digits && i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		i++
		sign()
		if run() {
			end = i
		}
	}
	return end, digits
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// notFinite reports whether s is how programs print what is no finite number.
func notFinite(s string) bool {
	switch strings.ToLower(strings.TrimLeft(s, "+-")) {
	case "nan", "inf", "infinity":
		return true
	}
	return false
}

// short cuts a piece of the input for a sentence.
func short(s string) string {
	const most = 64
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "..."
}
