package device

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
)

// maxTopic is the longest topic that MQTT can carry, in bytes.
const maxTopic = 65535

// TopicMatch reports whether an MQTT topic filter takes a topic: + stands for
// one level, empty ones included, and # for all that follow and their parent.
// A filter that begins with either takes no topic that begins with $.
// (MQTT 3.1.1, section 4.7.)
func TopicMatch(filter, topic string) bool {
	if filter == "" || topic == "" {
		return false
	}
	if topic[0] == '$' && (filter[0] == '+' || filter[0] == '#') {
		return false
	}
	for {
		want, moreFilter, deeperFilter := strings.Cut(filter, "/")
		have, moreTopic, deeperTopic := strings.Cut(topic, "/")
		switch {
		case want == "#":
			return !deeperFilter
		case want != "+" && want != have:
			return false
		case !deeperTopic:
			return !deeperFilter || moreFilter == "#"
		case !deeperFilter:
			return false
		}
		filter, topic = moreFilter, moreTopic
	}
}

// vesselLevel is the level of a topic pattern that holds the vessel's name.
const vesselLevel = "{vessel}"

// pattern is a topic filter that may name the level that holds the vessel.
type pattern struct {
	filter string
	vessel int // index of the level that names the vessel; -1 none
}

func parsePattern(s string) (pattern, error) {
	switch {
	case s == "":
		return pattern{}, errors.New("no topic")
	case len(s) > maxTopic || !utf8.ValidString(s) || strings.ContainsRune(s, 0):
		return pattern{}, fmt.Errorf("topic is no UTF-8 text of at most %d bytes without NUL", maxTopic)
	}
	p := pattern{vessel: -1}
	levels := strings.Split(s, "/")
	for i, level := range levels {
		switch {
		case level == vesselLevel && p.vessel >= 0:
			return pattern{}, fmt.Errorf("topic has %s twice", vesselLevel)
		case level == vesselLevel:
			p.vessel, levels[i] = i, "+"
		case level == "+", level == "#" && i == len(levels)-1:
		case level == "#":
			return pattern{}, errors.New("topic has # before its end")
		case strings.ContainsAny(level, "+#{}"):
			return pattern{}, fmt.Errorf("topic level %q: +, # and %s must be a level of their own", level, vesselLevel)
		}
	}
	p.filter = strings.Join(levels, "/")
	return p, nil
}

// vesselOf returns the level of topic that names the vessel.
func (p pattern) vesselOf(topic string) string {
	for range p.vessel {
		_, topic, _ = strings.Cut(topic, "/")
	}
	level, _, _ := strings.Cut(topic, "/")
	return level
}
