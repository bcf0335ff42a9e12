package device

import (
	"fmt"
	"strconv"
	"strings"
)

// step is one step into JSON: a member of an object, or an element of a list.
type step struct {
	name  string
	index int // of the element; -1 for a member
}

// path leads to one value in JSON.
type path []step

// parsePath reads a path such as a.b, list[0].value or $['two words'].x: the
// part of JSONPath (RFC 9535) that names a single value. The $ may be missing.
func parsePath(s string) (path, error) {
	rest := s
	if rest == "$" || strings.HasPrefix(rest, "$.") || strings.HasPrefix(rest, "$[") {
		rest = rest[1:]
	} else if rest != "" && rest[0] != '[' && rest[0] != '.' {
		rest = "." + rest
	}
	var p path
	for rest != "" {
		next, left, ok := parseStep(rest)
		if !ok {
			return nil, fmt.Errorf("path %q: cannot read %q", s, rest)
		}
		p, rest = append(p, next), left
	}
	if len(p) == 0 {
		return nil, fmt.Errorf("path %q names nothing", s)
	}
	return p, nil
}

// parseStep reads .name, [index] or ['name'] off the front of s.
func parseStep(s string) (next step, rest string, ok bool) {
	if s[0] == '.' {
		end := strings.IndexAny(s[1:], ".[") + 1
		if end == 0 {
			end = len(s)
		}
		return step{s[1:end], -1}, s[end:], end > 1
	}
	for _, quote := range []string{`'`, `"`} {
		if inner, found := strings.CutPrefix(s, "["+quote); found {
			name, rest, ok := strings.Cut(inner, quote+"]")
			return step{name, -1}, rest, ok
		}
	}
	inner, rest, closed := strings.Cut(s[1:], "]")
	index, err := strconv.ParseUint(inner, 10, 31)
	return step{"", int(index)}, rest, s[0] == '[' && closed && err == nil
}

// in returns what the path leads to in decoded JSON, and whether there is
// anything but null.
func (p path) in(v any) (any, bool) {
	for _, next := range p {
		switch at := v.(type) {
		case map[string]any:
			if next.index >= 0 {
				return nil, false
			}
			v = at[next.name]
		case []any:
			if next.index < 0 || next.index >= len(at) {
				return nil, false
			}
			v = at[next.index]
		default:
			return nil, false
		}
	}
	return v, v != nil
}
