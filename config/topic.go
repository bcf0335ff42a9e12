package config

import (
	"errors"
	"strings"
	"unicode/utf8"
)

// vesselLevel is the level of a device's topic that names the vessel.
const vesselLevel = "{vessel}"

// maxTopic is the length of the longest topic in bytes, OASIS MQTT 3.1.1
// section 4.7.3.
const maxTopic = 65535

// goodFilter checks that s is an MQTT topic filter, OASIS MQTT 3.1.1 section 4.7.
func goodFilter(s string) error {
	if s == "" || len(s) > maxTopic || !utf8.ValidString(s) || strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return errors.New("must be 1 to 65535 bytes of text without control characters")
	}
	if strings.HasPrefix(s, "$share/") {
		return errors.New("must not be a shared subscription: this room needs every message")
	}
	levels := strings.Split(s, "/")
	for i, level := range levels {
		switch {
		case level == "#" && i < len(levels)-1:
			return errors.New("has a # before its end; # stands for all further levels and comes last")
		case level != "#" && strings.Contains(level, "#"):
			return errors.New("has a # inside a level; # must be a whole level")
		case level != "+" && strings.Contains(level, "+"):
			return errors.New("has a + inside a level; + must be a whole level")
		}
	}
	return nil
}

// overlap reports whether some topic matches both filters.
func overlap(a, b string) bool {
	x, y := strings.Split(a, "/"), strings.Split(b, "/")
	if hidden(x[0], y[0]) {
		return false
	}
	for i := 0; ; i++ {
		// # matches the level above it too, so it is looked at first.
		if i < len(x) && x[i] == "#" || i < len(y) && y[i] == "#" {
			return true
		}
		if i == len(x) || i == len(y) {
			return len(x) == len(y)
		}
		if x[i] != y[i] && x[i] != "+" && y[i] != "+" {
			return false
		}
	}
}

// covers reports whether wide matches every topic that narrow matches.
func covers(wide, narrow string) bool {
	x, y := strings.Split(wide, "/"), strings.Split(narrow, "/")
	if hidden(x[0], y[0]) {
		return false
	}
	if narrow == "#" && wide == "+/#" { // every topic has a first level
		return true
	}
	for i := 0; ; i++ {
		if i < len(x) && x[i] == "#" {
			return true
		}
		if i == len(x) || i == len(y) {
			return len(x) == len(y)
		}
		if y[i] == "#" || x[i] != y[i] && x[i] != "+" {
			return false
		}
	}
}

// hidden reports whether one first level is of the broker's own topics, which
// begin with $, and the other a wildcard, which does not match them (section
// 4.7.2).
func hidden(a, b string) bool {
	wild := func(s string) bool { return s == "+" || s == "#" }
	return strings.HasPrefix(a, "$") && wild(b) || strings.HasPrefix(b, "$") && wild(a)
}

// Filter returns the MQTT filter of the messages of d.
func (d Device) Filter() string { return strings.ReplaceAll(d.Topic, vesselLevel, "+") }

// Filters returns what to subscribe to: the topics of the broker and those of
// the devices that they leave out. No two overlap.
func (c *Config) Filters() []string {
	out := append([]string(nil), c.Broker.Topics...)
	for _, d := range c.Devices {
		if !coveredBy(c.Broker.Topics, d.Filter()) {
			out = append(out, d.Filter())
		}
	}
	return out
}

func coveredBy(wide []string, narrow string) bool {
	for _, w := range wide {
		if covers(w, narrow) {
			return true
		}
	}
	return false
}
