package config

import (
	"bytes"
	"regexp"
	"strconv"
	"strings"
)

// yamlError takes the library's words apart: line, where there is one, and reason.
var yamlError = regexp.MustCompile(`^yaml: (?:line (\d+): )?((?s).*)$`)

// reasons say in other words what the YAML library means.
var reasons = []struct{ part, words string }{
	{"mapping values are not allowed", "there is a second colon, or the indentation does not fit the lines above; put text with a colon in quotes"},
	{"did not find expected key", "the indentation does not fit the lines above, or a key without its colon stands here"},
	{"could not find expected ':'", "a key without its colon, or a value that is indented too little"},
	{"did not find expected '-' indicator", "the indentation does not fit the list above"},
	{"block sequence entries are not allowed", "an item of a list cannot stand here; begin it on a line of its own"},
	{"cannot start any token", "this begins with a character that needs quotes around the value, such as @, % or `"},
	{"did not find expected ',' or ']'", "a list in [ ] is not closed, or a comma is missing in it"},
	{"did not find expected ',' or '}'", "a block in { } is not closed, or a comma is missing in it"},
	{"did not find expected node content", "a value is missing, or [ ] or { } is not closed"},
	{"found unexpected end of stream", "a quote or a bracket that is opened here is never closed"},
	{"unknown escape character", `a backslash in "..." needs a second one; or use '...'`},
	{"unknown anchor", "an alias that begins with * is not used here; put text that begins with * in quotes"},
	{"exceeded max depth", "this is nested too deeply"},
}

// explain turns an error of the YAML library into a fault. The library tells
// the line loosely or not at all, so the place is looked for.
func (d *decoder) explain(data []byte, err error) Fault {
	line, reason := 1, err.Error()
	if m := yamlError.FindStringSubmatch(reason); m != nil {
		reason = m[2]
		if n, err := strconv.Atoi(m[1]); err == nil {
			line = n
		}
	}
	lines := bytes.SplitAfter(data, []byte("\n"))
	if len(data) <= maxSearched {
		line = firstBroken(lines)
	}
	line = min(line, len(lines))
	text := strings.TrimRight(string(lines[line-1]), "\r\n")
	column := 1 + len(text) - len(strings.TrimLeft(text, " "))
	if tab := leadingTab(text); tab > 0 {
		return d.at(line, tab, "a tab in the indentation before %s; YAML wants spaces", quoted(strings.TrimSpace(text)))
	}
	for _, r := range reasons {
		if strings.Contains(reason, r.part) {
			reason = r.words
			break
		}
	}
	return d.at(line, column, "cannot be read as YAML at %s: %s", quoted(strings.TrimSpace(text)), reason)
}

// leadingTab returns the column of the first tab before the text of a line, 0
// if there is none.
func leadingTab(line string) int {
	lead := line[:len(line)-len(strings.TrimLeft(line, " \t"))]
	return 1 + strings.IndexByte(lead, '\t')
}

const (
	// maxSearched bounds the work of looking for the broken line, in bytes.
	maxSearched = 256 << 10
	// lookAhead is how many lines one value may span before it is taken for
	// the broken one.
	lookAhead = 24
	// maxReads bounds how often the file is read while looking.
	maxReads = 200
)

// firstBroken returns the line, from 1, at which the file begins to be
// unreadable: the lines before it can be read, the lines up to it cannot,
// nor with any of the next lookAhead lines. Nothing readable is passed over by
// halving, because once a line is broken no further line repairs it; only
// values that span lines are unreadable for a while, hence the look ahead.
func firstBroken(lines [][]byte) int {
	left := maxReads
	reads := func(n int) bool {
		if left--; left < 0 {
			return false
		}
		_, _, err := documents(bytes.Join(lines[:n], nil))
		return err == nil
	}
	good, bad := 0, len(lines)
	for {
		for bad-good > 1 {
			if mid := (good + bad) / 2; reads(mid) {
				good = mid
			} else {
				bad = mid
			}
		}
		end := min(good+lookAhead, len(lines)-1)
		further := good
		for n := good + 2; n <= end; n++ {
			if reads(n) {
				further = n
				break
			}
		}
		if further == good {
			return good + 1
		}
		good, bad = further, len(lines)
	}
}
