package config

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"gopkg.in/yaml.v3"
)

// read puts what parse makes of the value of key into dst, and returns the
// value's place: nil where it was not given or is wrong. The error of parse
// completes the sentence "KEY ...".
func read[T any](b *block, key string, dst *T, parse func(string) (T, error)) *yaml.Node {
	n := b.value(key)
	if n == nil {
		return nil
	}
	s, ok := b.scalar(n, key)
	if !ok {
		return nil
	}
	v, err := parse(s)
	if err != nil {
		b.fault(n, "%s %s", key, err)
		return nil
	}
	*dst = v
	return n
}

// text reads any text without control characters; it may be empty.
func (b *block) text(key string, dst *string) *yaml.Node {
	return read(b, key, dst, func(s string) (string, error) {
		if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f }) {
			return "", fmt.Errorf("must be one line of text without tabs, not %s", quoted(s))
		}
		return strings.TrimSpace(s), nil
	})
}

// number reads a number from low to high in unit.
func (b *block) number(key string, dst *float64, low, high float64, unit string) *yaml.Node {
	return read(b, key, dst, func(s string) (float64, error) {
		v, err := parseNumber(s)
		if err != nil {
			return 0, err
		}
		if v < low || v > high {
			return 0, fmt.Errorf("must be from %v to %v%s, not %s", low, high, unit, quoted(s))
		}
		return v, nil
	})
}

var plainNumber = regexp.MustCompile(`^[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?$`)
var commaNumber = regexp.MustCompile(`^[-+]?[0-9]+,[0-9]+$`)

// parseNumber reads a finite decimal number.
func parseNumber(s string) (float64, error) {
	switch lower := strings.ToLower(strings.TrimLeft(s, "+-.")); {
	case lower == "nan" || lower == "inf" || lower == "infinity":
		return 0, fmt.Errorf("must be a finite number, not %s; leave the key out where it is not known", quoted(s))
	case commaNumber.MatchString(s):
		return 0, fmt.Errorf("must be a number with a decimal point, such as %s, not %s", strings.Replace(s, ",", ".", 1), quoted(s))
	case !plainNumber.MatchString(s):
		return 0, fmt.Errorf("must be a plain number, not %s", quoted(s))
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("is too large a number: %s", quoted(s))
	}
	return v, nil
}

// yes reads true or false.
func (b *block) yes(key string, dst *bool) *yaml.Node {
	return read(b, key, dst, func(s string) (bool, error) {
		if s != "true" && s != "false" {
			return false, fmt.Errorf("must be true or false, not %s", quoted(s))
		}
		return s == "true", nil
	})
}

// choice reads one of some words.
func (b *block) choice(key string, dst *string, words ...string) *yaml.Node {
	return read(b, key, dst, func(s string) (string, error) {
		for _, w := range words {
			if s == w {
				return s, nil
			}
		}
		all := strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
		return "", fmt.Errorf("must be %s, not %s", all, quoted(s))
	})
}

// duration reads a time span with its unit.
func (b *block) duration(key string, dst *time.Duration, low, high time.Duration) *yaml.Node {
	return read(b, key, dst, func(s string) (time.Duration, error) {
		v, err := time.ParseDuration(s)
		if err != nil && plainNumber.MatchString(s) {
			return 0, fmt.Errorf("needs a unit, such as %ss or %sm, not %s", s, s, quoted(s))
		}
		if err != nil {
			return 0, fmt.Errorf("must be a time span such as 90s, 15m or 1h30m, not %s", quoted(s))
		}
		if v < low || v > high {
			return 0, fmt.Errorf("must be from %s to %s, not %s", span(low), span(high), quoted(s))
		}
		return v, nil
	})
}

// span writes a duration without parts that are zero.
func span(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

var clockTime = regexp.MustCompile(`^([0-9]{1,2}):([0-9]{2})$`)

var errClock = errors.New("not a clock time")

// parseClock reads HH:MM from 00:00 to 24:00.
func parseClock(s string) (time.Duration, error) {
	m := clockTime.FindStringSubmatch(s)
	if m == nil {
		return 0, errClock
	}
	h, _ := strconv.Atoi(m[1])
	min, _ := strconv.Atoi(m[2])
	d := time.Duration(h)*time.Hour + time.Duration(min)*time.Minute
	if min > 59 || d > 24*time.Hour {
		return 0, errClock
	}
	return d, nil
}

// clock reads a local time of the day; 24:00 where midnight may end it.
func (b *block) clock(key string, dst *time.Duration, midnight bool) *yaml.Node {
	return read(b, key, dst, func(s string) (time.Duration, error) {
		d, err := parseClock(s)
		if err != nil || d == 24*time.Hour && !midnight {
			return 0, fmt.Errorf("must be a time of the day such as \"07:30\", not %s", quoted(s))
		}
		return d, nil
	})
}

var byteSize = regexp.MustCompile(`^([0-9]+) ?(B|kB|KiB|MB|MiB|GB|GiB)?$`)

var sizeUnits = map[string]float64{"": 1, "B": 1, "kB": 1e3, "KiB": 1 << 10, "MB": 1e6, "MiB": 1 << 20, "GB": 1e9, "GiB": 1 << 30}

// size reads a number of bytes from 1 KiB to 16 MiB.
func (b *block) size(key string, dst *int) *yaml.Node {
	return read(b, key, dst, func(s string) (int, error) {
		m := byteSize.FindStringSubmatch(s)
		if m == nil {
			return 0, fmt.Errorf("must be a size such as 512KiB or 1MiB, not %s", quoted(s))
		}
		v, err := strconv.ParseFloat(m[1], 64)
		v *= sizeUnits[m[2]]
		if err != nil || v < 1<<10 || v > 16<<20 {
			return 0, fmt.Errorf("must be from 1KiB to 16MiB, not %s", quoted(s))
		}
		return int(v), nil
	})
}
