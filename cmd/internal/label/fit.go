package label

import (
	"math"
	"strings"
	"unicode"
)

// Which font a label is printed with is not known here, so widths are those of
// a wide one: DejaVu Sans Bold, whose letters are about a seventh wider than
// those of Arial. What still came out wider would be cut at its box's edge.

// asciiWidths are the advances of the printing ASCII characters, space first,
// in hundredths of an em, rounded up; measured in Chromium with DejaVu 2.37.
var asciiWidths = [...]uint8{35, 46, 53, 84, 70, 101, 88, 31, 46, 46, 53, 84, 38, 42, 38, 37, 70, 70, 70, 70, 70, 70, 70, 70, 70, 70, 40, 40,
	84, 84, 84, 59, 100, 78, 77, 74, 84, 69, 69, 83, 84, 38, 38, 78, 64, 100, 84, 86, 74, 86, 78, 73, 69, 82, 78, 111, 78, 73, 73, 46, 37,
	46, 84, 50, 50, 68, 72, 60, 72, 68, 44, 72, 72, 35, 35, 67, 35, 105, 72, 69, 72, 72, 50, 60, 48, 72, 66, 93, 65, 66, 59, 72, 37, 72, 84}

// width returns a cautious width of s in em.
func width(s string) float64 {
	ems := 0.0
	for _, r := range s {
		ems += advance(r)
	}
	return ems
}

// advance returns a cautious advance of r in em.
func advance(r rune) float64 {
	switch {
	case r >= ' ' && r <= '~':
		return float64(asciiWidths[r-' ']) / 100
	case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		return 0
	case r == '·':
		return 0.4
	case r < 0x530 && unicode.IsUpper(r): // Latin, Greek, Cyrillic
		return 1
	case r < 0x530 && unicode.IsLower(r):
		return 0.85
	case r < 0x780: // Armenian, Hebrew, Arabic, Syriac
		return 1
	case r >= 0xfdfa && r <= 0xfdfd: // whole sentences in one character
		return 12
	case r == '\u2e3a' || r == '\u2e3b': // dashes of two and three em
		return 3
	case r == '…' || r == '—':
		return 1
	}
	return 1.4 // emoji are the widest of what is usual
}

// leastFont is the smallest text that is printed, in mm: 5 points.
const leastFont = 1.76

// mostShrink is how small a text may become, as a part of its size, before it
// is shortened.
const mostShrink = 0.6

// fit makes s fit into room mm: smaller, then shortened. It returns what is left of s and its font size in mm.
func fit(s string, room, size float64) (string, float64) {
	ems := width(s)
	least := min(max(mostShrink*size, leastFont), size)
	switch {
	case ems*size <= room:
		return s, size
	case ems*least <= room:
		return s, room / ems
	}
	return cut(s, func(_ int, ems float64) bool { return ems*least <= room }), least
}

// words is one line: what we say, then a name that somebody chose. The name
// comes last, so that its direction disturbs nothing.
type words struct{ lead, name string }

// fit is fit for words.
func (w words) fit(room, size float64) (string, float64) {
	s, size := fit(w.lead+w.name, room, size)
	if name, ok := strings.CutPrefix(s, w.lead); ok {
		s = w.lead + isolate(name)
	}
	return s, size
}

// String is the whole line.
func (w words) String() string { return w.lead + isolate(w.name) }

// halves parts s in two of about the same width: at a space if there is one
// near enough to the middle, and otherwise between two clusters.
func halves(s string) (first, second string) {
	whole, ems := width(s), 0.0
	best, off := 0, whole
	for i := 0; i < len(s); {
		size := cluster(s[i:])
		from := math.Abs(ems - whole/2)
		if s[i] != ' ' {
			from += whole / 4 // a space may be so much further from the middle
		}
		if from < off && i > 0 {
			best, off = i, from
		}
		ems += width(s[i : i+size])
		i += size
	}
	return strings.TrimSpace(s[:best]), strings.TrimSpace(s[best:])
}
