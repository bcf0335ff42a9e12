package device

import (
	"strings"
	"testing"
)

func TestTopicMatch(t *testing.T) {
	tests := []struct {
		filters, topic string // filters parted by blanks
		want           bool
		source         string
	}{
		{"a/b/c/d +/b/c/d a/+/c/d a/+/+/d +/+/+/+ # a/# a/b/# a/b/c/# +/b/c/#", "a/b/c/d", true, "mqtt(7) of mosquitto 2.0.11"},
		{"a/b/c b/+/c/d +/+/+", "a/b/c/d", false, "mqtt(7) of mosquitto 2.0.11"},
		{"a/+/topic", "a//topic", true, "mqtt(7): empty levels are real"},
		{"+/a/topic # /#", "/a/topic", true, "mqtt(7): empty levels are real"},
		{"a/topic/+ a/topic/#", "a/topic/", true, "mqtt(7): empty levels are real"},
		{"a/topic", "a/topic/", false, "mqtt(7): empty levels are real"},
		{"sport/# sport/tennis/#", "sport/tennis", true, "MQTT 3.1.1 section 4.7.1.2, from memory: # takes the parent too"},
		{"sport/tennis/+ sport", "sport/tennis", false, "MQTT 3.1.1 section 4.7.1.3, from memory: + takes no parent"},
		{"+/+ /+", "/finance", true, "MQTT 3.1.1 section 4.7.1.3, from memory"},
		{"+", "/finance", false, "MQTT 3.1.1 section 4.7.1.3, from memory"},
		{"# +/monitor/Clients +/#", "$SYS/monitor/Clients", false, "MQTT 3.1.1 section 4.7.2, from memory"},
		{"$SYS/# $SYS/monitor/+", "$SYS/monitor/Clients", true, "MQTT 3.1.1 section 4.7.2, from memory"},
		{"Accounts", "ACCOUNTS", false, "MQTT 3.1.1 section 4.7.3, from memory: case matters"},
		{"a/#/c a# a+/c #/a", "a/b/c", false, "no filters at all"},
	}
	for _, tt := range tests {
		for filter := range strings.FieldsSeq(tt.filters) {
			if got := TopicMatch(filter, tt.topic); got != tt.want {
				t.Errorf("filter %s takes topic %s: %t, want %t (%s)", filter, tt.topic, got, tt.want, tt.source)
			}
		}
	}
	if TopicMatch("", "") || TopicMatch("", "a") || TopicMatch("#", "") {
		t.Error("an empty filter or topic matches")
	}
}

func TestPattern(t *testing.T) {
	p, err := parsePattern("room/+/{vessel}/od/#")
	if err != nil || p.filter != "room/+/+/od/#" || p.vesselOf("room/3/C07/od/x") != "C07" || p.vesselOf("room/3//od") != "" {
		t.Errorf("got %+v, %v", p, err)
	}
}

func FuzzTopicMatch(f *testing.F) {
	f.Add("a/+/#", "a/b/c")
	f.Add("#", "$x")
	f.Fuzz(func(t *testing.T, filter, topic string) {
		got := TopicMatch(filter, topic)
		if strings.ContainsAny(filter, "+#") {
			if got && topic[0] == '$' && filter[0] != '$' {
				t.Fatalf("%q takes %q", filter, topic)
			}
			return
		}
		if want := filter == topic && topic != ""; got != want {
			t.Fatalf("without wildcards %q takes %q: %t, want %t", filter, topic, got, want)
		}
	})
}
