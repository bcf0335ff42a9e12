package config

import (
	"slices"
	"strings"
)

// nearest returns the word of known that was most likely meant, empty if none
// comes near.
func nearest(word string, known []string) string {
	word = strings.ReplaceAll(strings.ToLower(word), "-", "_")
	if word == "" || len(word) > 64 {
		return ""
	}
	best, least := "", 1+max(1, len(word)/3)
	for _, k := range known {
		d := least // as far as words of so unlike a length are at least
		if len(k)-len(word) < least && len(word)-len(k) < least {
			d = distance(word, strings.ToLower(k))
		}
		if len(word) > 2 && (strings.HasPrefix(k, word) || strings.HasPrefix(word, k+"_")) {
			d = min(d, 1)
		}
		if d < least {
			best, least = k, d
		}
	}
	return best
}

// distance is how many letters must be put in, left out, changed or swapped
// with their neighbour to make b of a (optimal string alignment).
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	before, last := make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(s); i++ {
		row := make([]int, len(t)+1)
		row[0] = i
		for j := 1; j <= len(t); j++ {
			change := 1
			if s[i-1] == t[j-1] {
				change = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+change)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(t)]
}

// meant is the end of a sentence about a word that is not among known: the
// nearest of them, or all.
func meant(word string, known []string) string {
	if near := nearest(word, known); near != "" {
		return "did you mean " + near + "?"
	}
	known = slices.Clone(known)
	slices.Sort(known)
	return "known are " + strings.Join(known, ", ")
}
