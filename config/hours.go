package config

import (
	"fmt"
	"strings"
	"time"

	"gopkg.in/yaml.v3"
)

// Hours are the staffed hours of a room.
type Hours []Shift

// Shift is a span of hours in which people are at the shelf.
type Shift struct {
	Days [7]bool       // by time.Weekday: the days on which it begins
	From time.Duration // local clock time since midnight
	To   time.Duration // up to 24 h; before From: it ends on the next day
}

// Staffed reports whether people are at the shelf at t, by the clock on the
// wall of zone.
func (h Hours) Staffed(t time.Time, zone *time.Location) bool {
	t = t.In(zone)
	hour, minute, second := t.Clock()
	since := time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute + time.Duration(second)*time.Second
	today, yesterday := t.Weekday(), (t.Weekday()+6)%7
	for _, s := range h {
		switch {
		case s.From < s.To && s.Days[today] && s.From <= since && since < s.To,
			s.From > s.To && s.Days[today] && since >= s.From,
			s.From > s.To && s.Days[yesterday] && since < s.To:
			return true
		}
	}
	return false
}

// String writes the shift as "mon-fri 08:00-17:30".
func (s Shift) String() string {
	var names []string
	for i := range 7 {
		day := (i + 1) % 7 // the week begins on monday
		if s.Days[day] {
			names = append(names, weekdays[day])
		}
	}
	days := strings.Join(names, ",")
	switch s.Days {
	case [7]bool{true, true, true, true, true, true, true}:
		days = "daily"
	case [7]bool{false, true, true, true, true, true, false}:
		days = "mon-fri"
	}
	return days + " " + ClockTime(s.From) + "-" + ClockTime(s.To)
}

// ClockTime writes a time since midnight as HH:MM.
func ClockTime(d time.Duration) string {
	return fmt.Sprintf("%02d:%02d", int(d.Hours()), int(d.Minutes())%60)
}

var weekdays = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// shift reads one item of staffed.
func (d *decoder) shift(n *yaml.Node) Shift {
	var s Shift
	b := d.block(n, "staffed")
	if v := b.value("days"); v == nil {
		b.missing("days", "write days: mon-fri, or daily")
	} else if v.Kind == yaml.SequenceNode {
		for _, item := range v.Content {
			b.days(item, &s.Days)
		}
	} else {
		b.days(v, &s.Days)
	}
	from, to := b.clock("from", &s.From, false), b.clock("to", &s.To, true)
	if !b.has("from") {
		b.missing("from", "write from: \"08:00\"")
	}
	if !b.has("to") {
		b.missing("to", "write to: \"17:30\"")
	}
	if from != nil && to != nil && s.From == s.To {
		b.fault(to, "from and to are both %s; for whole days write from: \"00:00\" and to: \"24:00\"", quoted(to.Value))
	}
	b.close()
	return s
}

// days adds the days that n names: a day, a span of days, several parted by
// commas, or daily.
func (d *decoder) days(n *yaml.Node, into *[7]bool) {
	text, ok := d.scalar(n, "days")
	if !ok {
		return
	}
	for part := range strings.SplitSeq(text, ",") {
		part = strings.TrimSpace(strings.ToLower(part))
		if part == "daily" {
			*into = [7]bool{true, true, true, true, true, true, true}
			continue
		}
		first, last, isSpan := strings.Cut(part, "-")
		if !isSpan {
			last = first
		}
		from, to := weekday(first), weekday(last)
		if from < 0 || to < 0 {
			d.fault(n, "days must be such as mon-fri, \"mon,wed\" or daily, not %s", quoted(text))
			return
		}
		for day := from; ; day = (day + 1) % 7 {
			into[day] = true
			if day == to {
				break
			}
		}
	}
}

// weekday returns the number of a day, -1 if it is none.
func weekday(s string) int {
	s = strings.TrimSpace(s)
	for i, short := range weekdays {
		if s == short || s == strings.ToLower(time.Weekday(i).String()) {
			return i
		}
	}
	return -1
}
