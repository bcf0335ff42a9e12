package alerts

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// part is a sentence of a text; the higher keep, the longer it stays in.
type part struct {
	text string
	keep int
}

// fit joins parts to at most MaxText characters, leaving out whole parts,
// those of the lowest keep first, and cutting between words what is left if
// that alone is too long.
func fit(parts []part) string {
	const mustSay = 8 // parts from here on are cut, never left out
	for keep := 0; ; keep++ {
		s := join(parts, keep)
		if utf8.RuneCountInString(s) <= MaxText {
			return s
		}
		if keep >= mustSay {
			return cut(s, MaxText)
		}
	}
}

func join(parts []part, keep int) string {
	var said []string
	for _, p := range parts {
		if p.keep >= keep && p.text != "" {
			said = append(said, p.text)
		}
	}
	return strings.Join(said, " ")
}

// cut shortens s to at most n characters, at the end of a word where there is
// one in its second half, never within a character or between a letter and
// its accent. What was cut shows as "...".
func cut(s string, n int) string {
	runes := []rune(s)
	if len(runes) <= n {
		return s
	}
	const dots = "..."
	end := n - len(dots)
	if end < 1 {
		return ""
	}
	at := end
	for at > end/2 && !unicode.IsSpace(runes[at]) {
		at--
	}
	if at <= end/2 { // one endless word
		at = end
		for at > 0 && joined(runes[at]) {
			at--
		}
	}
	return strings.TrimRight(string(runes[:at]), " ,;:.") + dots
}

// joined reports whether r belongs to the character before it.
func joined(r rune) bool {
	const joiner = '\u200d'
	return unicode.Is(unicode.M, r) || r == joiner
}

// clean makes one line of s: valid UTF-8, single spaces, nothing that cannot
// be seen.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r), unicode.IsControl(r):
			return ' '
		case r == utf8.RuneError, unicode.Is(unicode.Bidi_Control, r):
			return -1
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

// sentence ends s with a full stop unless it ends with a mark already.
func sentence(s string) string {
	if s == "" || strings.ContainsRune(".!?", rune(s[len(s)-1])) {
		return s
	}
	return s + "."
}

func prefixed(prefix, s string) string {
	if s == "" {
		return ""
	}
	return prefix + sentence(s)
}

// list tells names as "light, air and pH", the last of many as a number.
func list(names []string, most int) string {
	var all []string
	for _, n := range names {
		if n = clean(n); n != "" {
			all = append(all, n)
		}
	}
	switch n := len(all); {
	case n == 0:
		return ""
	case n == 1:
		return all[0]
	case n > most:
		return strings.Join(all[:most], ", ") + " and " + strconv.Itoa(n-most) + " more"
	default:
		return strings.Join(all[:n-1], ", ") + " and " + all[n-1]
	}
}

// lowerFirst lowers the first letter, unless the word is written in capitals
// or carries a digit, such as OD or C07.
func lowerFirst(s string) string {
	word, _, _ := strings.Cut(s, " ")
	for i, r := range word {
		if i > 0 && (unicode.IsUpper(r) || unicode.IsDigit(r)) {
			return s
		}
	}
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return s
	}
	return string(unicode.ToLower(r)) + s[size:]
}

func upperFirst(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[size:]
}
