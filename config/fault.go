package config

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Fault is one thing that is wrong in a configuration file.
type Fault struct {
	File    string `json:"file"`
	Line    int    `json:"line"`   // from 1
	Column  int    `json:"column"` // in characters, from 1
	Message string `json:"message"`
}

// Error returns "file:line:column: sentence".
func (f Fault) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.Message)
}

// Faults is everything that is wrong in one file, in order of place.
type Faults []Fault

// Error returns one line for each fault.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, one := range f {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// inOrder sorts faults by place and drops repeated ones: one setting under
// defaults may be wrong for many vessels.
func inOrder(faults []Fault) []Fault {
	slices.SortStableFunc(faults, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Message, b.Message))
	})
	return slices.Compact(faults)
}

// maxQuoted is how many characters of the input a message repeats.
const maxQuoted = 48

// quoted returns s in quotes, cut where it is long. The quotes are such that
// nothing in s needs a backslash, where there are any.
func quoted(s string) string {
	more := ""
	if r := []rune(s); len(r) > maxQuoted {
		s, more = string(r[:maxQuoted]), fmt.Sprintf(" and %d characters more", len(r)-maxQuoted)
	}
	if strings.ContainsAny(s, `"\`) && strconv.CanBackquote(s) {
		return "`" + s + "`" + more
	}
	return strconv.Quote(s) + more
}
