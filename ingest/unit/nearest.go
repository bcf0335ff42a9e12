package unit

import "strings"

// maxWord is the longest name that is compared or quoted in full, in bytes:
// nobody misspells a name of 8 letters in more.
const maxWord = 32

// nearest returns the known names closest to word, all of them if several are
// equally close, none if all are far: more than a third of the word and more
// than two letters away. A word that spells a known stem out, or is one, is
// near: "temperature" and "temp" both are near "temp_c".
func nearest(word string, known []string) []string {
	if word == "" || len(word) > maxWord {
		return nil
	}
	word = strings.ToLower(word)
	best := max(2, len(word)/3)
	var near []string
	for _, name := range known {
		d := distance(word, name)
		if sameStem(word, name) {
			d = min(d, 1+strings.Count(word, "_"))
		}
		if d > best || d >= len(word) {
			continue
		}
		if d < best {
			best, near = d, near[:0]
		}
		near = append(near, name)
	}
	return near
}

// sameStem reports whether word begins with the stem of name, that is what
// stands before its unit, or the other way round. Short stems say nothing.
func sameStem(word, name string) bool {
	const short = 3
	stem, _, _ := strings.Cut(name, "_")
	word, _, _ = strings.Cut(word, "_")
	if len(stem) < short || len(word) < short {
		return false
	}
	return strings.HasPrefix(word, stem) || strings.HasPrefix(stem, word)
}

// distance counts the letters to insert, drop or replace to make b of a
// (Levenshtein 1966).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			swap := diagonal
			if a[i] != b[j] {
				swap++
			}
			diagonal = row[j+1]
			row[j+1] = min(swap, diagonal+1, row[j]+1)
		}
	}
	return row[len(b)]
}

// cut shortens a word for a message.
func cut(word string) string {
	if len(word) <= maxWord {
		return word
	}
	return strings.ToValidUTF8(word[:maxWord], "") + "..."
}
