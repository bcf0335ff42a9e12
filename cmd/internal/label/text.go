package label

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	zwnj, zwj = '\u200c', '\u200d'
	ellipsis  = "…"
	// mostMarks is how many marks one letter may carry. Words of living
	// languages need no more; a tower of them would reach into other lines.
	mostMarks = 4
	// longestName is how much of a name is kept at all, in clusters: no line
	// shows more.
	longestName = 160
)

// plain makes one line of visible text of whatever somebody chose as a name:
// without control characters, without what turns the direction of the words
// around it, without towers of marks.
func plain(s string) string {
	var b strings.Builder
	marks, bare := 0, true // bare: nothing is there that a mark or a joiner could hold on to
	for _, r := range strings.ToValidUTF8(s, "\ufffd") {
		switch {
		case unicode.IsControl(r) || unicode.IsSpace(r):
			r = ' '
		case r == zwj || r == zwnj: // they shape letters and emoji
			if !bare {
				b.WriteRune(r)
			}
			bare = true
			continue
		case unicode.Is(unicode.Cf, r):
			continue
		case unicode.Is(unicode.M, r):
			if marks++; marks <= mostMarks && !bare {
				b.WriteRune(r)
			}
			continue
		case !unicode.IsPrint(r):
			r = utf8.RuneError
		}
		marks, bare = 0, r == ' '
		b.WriteRune(r)
	}
	visible := strings.TrimRight(b.String(), string([]rune{zwj, zwnj, ' '}))
	return cut(strings.Join(strings.Fields(visible), " "), func(n int, _ float64) bool { return n <= longestName })
}

// cut returns s if fits allows the whole of it, and otherwise as many of its
// clusters as fit before an ellipsis. Fits is asked with a count of clusters
// and their width in em.
func cut(s string, fits func(clusters int, ems float64) bool) string {
	n, ems, keep := 0, 0.0, 0
	for i := 0; i < len(s); {
		size := cluster(s[i:])
		n++
		ems += width(s[i : i+size])
		if !fits(n, ems) {
			return strings.TrimRight(s[:keep], " ") + ellipsis
		}
		i += size
		if fits(n+1, ems+width(ellipsis)) {
			keep = i
		}
	}
	return s
}

// cluster returns the length in bytes of what is seen as the first letter of
// s: a base with its marks, and emoji that are joined to one.
func cluster(s string) int {
	first, n := utf8.DecodeRuneInString(s)
	joined := first == zwj
	flag := regional(first)
	for n < len(s) {
		r, size := utf8.DecodeRuneInString(s[n:])
		switch {
		case joined || r == zwj || r == zwnj || unicode.Is(unicode.M, r) || unicode.Is(unicode.Sk, r) && r > 0xffff:
			joined = r == zwj
		case flag && regional(r):
			flag = false // two of them make one flag
		default:
			return n
		}
		n += size
	}
	return n
}

func regional(r rune) bool { return r >= 0x1f1e6 && r <= 0x1f1ff }

// isolate keeps text of another direction from turning what stands around it.
func isolate(s string) string {
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf {
			return "\u2068" + s + "\u2069"
		}
	}
	return s
}
