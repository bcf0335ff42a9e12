package config

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// matches is the rule of OASIS MQTT 3.1.1, section 4.7, for one topic name.
func matches(filter, topic []string) bool {
	if strings.HasPrefix(topic[0], "$") && (filter[0] == "#" || filter[0] == "+") {
		return false
	}
	return matchesRest(filter, topic)
}

func matchesRest(filter, topic []string) bool {
	switch {
	case len(filter) > 0 && filter[0] == "#":
		return true
	case len(filter) == 0 || len(topic) == 0:
		return len(filter) == len(topic)
	}
	return (filter[0] == "+" || filter[0] == topic[0]) && matchesRest(filter[1:], topic[1:])
}

// The examples of mqtt(7) as in mosquitto 2.0.11, and of the standard's
// sections 4.7.1.2 and 4.7.2 (those two from memory).
func TestMatches(t *testing.T) {
	tests := []struct {
		topic, yes, no string
	}{
		{"a/b/c/d", "a/b/c/d +/b/c/d a/+/c/d a/+/+/d +/+/+/+ # a/# a/b/# a/b/c/# +/b/c/#", "a/b/c b/+/c/d +/+/+"},
		{"a//topic", "a/+/topic", "a/topic"},
		{"/a/topic", "+/a/topic # /#", "a/topic"},
		{"a/topic/", "a/topic/+ a/topic/#", "a/topic"},
		{"sport", "sport/#", "sport/+"},
		{"$SYS/x", "$SYS/# $SYS/+", "# +/x"},
	}
	for _, test := range tests {
		for want, filters := range map[bool]string{true: test.yes, false: test.no} {
			for _, f := range strings.Fields(filters) {
				if matches(strings.Split(f, "/"), strings.Split(test.topic, "/")) != want || covers(f, test.topic) != want || overlap(f, test.topic) != want {
					t.Errorf("%s matching %s: want %v", f, test.topic, want)
				}
			}
		}
	}
}

// topics are all topic names of up to four levels of a few words: enough to
// tell any two filters of up to three levels of these words apart.
var topics = func() [][]string {
	words := []string{"a", "b", "$s", "z", ""}
	all, last := [][]string{}, [][]string{{}}
	for range 4 {
		var next [][]string
		for _, t := range last {
			for _, w := range words {
				next = append(next, append(append([]string{}, t...), w))
			}
		}
		all, last = append(all, next...), next
	}
	return all
}()

func filters() *rapid.Generator[string] {
	level := rapid.SampledFrom([]string{"a", "b", "+", "$s", ""})
	return rapid.Custom(func(t *rapid.T) string {
		levels := rapid.SliceOfN(level, 0, 2).Draw(t, "levels")
		levels = append(levels, rapid.SampledFrom([]string{"a", "b", "+", "#", "$s", ""}).Draw(t, "last"))
		return strings.Join(levels, "/")
	})
}

func TestOverlapAndCoverAreWhatMatchingSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := filters().Draw(t, "a"), filters().Draw(t, "b")
		x, y := strings.Split(a, "/"), strings.Split(b, "/")
		both, all, some := false, true, false
		for _, topic := range topics {
			ma, mb := matches(x, topic), matches(y, topic)
			both = both || ma && mb
			all = all && (ma || !mb)
			some = some || mb
		}
		if overlap(a, b) != both || overlap(b, a) != both {
			t.Fatalf("overlap of %q and %q is %v, but matching says %v", a, b, overlap(a, b), both)
		}
		// A filter that nothing here matches is covered by any.
		if some && covers(a, b) != all {
			t.Fatalf("%q covers %q: %v, but matching says %v", a, b, covers(a, b), all)
		}
	})
}

// Whatever is read, no message is asked for twice and none is left out.
func TestFiltersNeverOverlap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var text strings.Builder
		text.WriteString("room: A\nvessels: [{name: C01}]\nbroker:\n  embedded: 127.0.0.1:1883\n  topics:\n")
		for _, f := range rapid.SliceOfN(filters(), 1, 3).Draw(t, "topics") {
			text.WriteString("    - \"" + f + "\"\n")
		}
		text.WriteString("devices:\n")
		for _, f := range rapid.SliceOfN(filters(), 0, 3).Draw(t, "devices") {
			text.WriteString("  - {topic: \"" + f + "\", vessel: C01, format: number, field: od}\n")
		}
		c, err := Parse("room.yaml", []byte(text.String()))
		if err != nil {
			return
		}
		all := c.Filters()
		for i := range all {
			for j := range i {
				if overlap(all[i], all[j]) {
					t.Fatalf("filters %q overlap", all)
				}
			}
		}
		for _, d := range c.Devices {
			if !coveredBy(all, d.Filter()) {
				t.Fatalf("device on %q is not heard through %q", d.Topic, all)
			}
		}
	})
}
