package config

import (
	"testing"
	"time"
	_ "time/tzdata"
)

// Boundaries of a usual week, a night shift over midnight, and the two days on
// which Lisbon's clocks change in 2026: forward at 01:00 on 29 March, back at
// 02:00 on 25 October (EU directive 2000/84/EC: 01:00 UTC on the last Sunday).
func TestStaffed(t *testing.T) {
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	days := func(all ...time.Weekday) (out [7]bool) {
		for _, d := range all {
			out[d] = true
		}
		return out
	}
	week := Shift{days(1, 2, 3, 4, 5), 8 * time.Hour, 17*time.Hour + 30*time.Minute}
	night := Shift{days(time.Saturday), 22 * time.Hour, 6 * time.Hour}
	whole := Shift{days(time.Wednesday), 0, 24 * time.Hour}
	tests := []struct {
		shift Shift
		at    string // UTC
		want  bool
	}{
		{week, "2026-01-05T07:59:59Z", false}, // a Monday, Lisbon is UTC
		{week, "2026-01-05T08:00:00Z", true},
		{week, "2026-01-05T17:29:59Z", true},
		{week, "2026-01-05T17:30:00Z", false},
		{week, "2026-01-10T12:00:00Z", false}, // Saturday
		{week, "2026-06-01T06:59:59Z", false}, // a Monday, Lisbon is UTC+1
		{week, "2026-06-01T07:00:00Z", true},
		{night, "2026-01-10T21:59:59Z", false},
		{night, "2026-01-10T22:00:00Z", true},
		{night, "2026-01-11T05:59:59Z", true}, // Sunday morning
		{night, "2026-01-11T06:00:00Z", false},
		{night, "2026-01-10T05:00:00Z", false}, // Saturday morning is no part of it
		{night, "2026-03-29T04:59:59Z", true},  // an hour less
		{night, "2026-03-29T05:00:00Z", false},
		{night, "2026-10-25T05:59:59Z", true}, // an hour more
		{night, "2026-10-25T06:00:00Z", false},
		{whole, "2026-01-07T00:00:00Z", true},
		{whole, "2026-01-07T23:59:59Z", true},
		{whole, "2026-01-08T00:00:00Z", false},
	}
	for _, test := range tests {
		at, err := time.Parse(time.RFC3339, test.at)
		if err != nil {
			t.Fatal(err)
		}
		if got := (Hours{test.shift}).Staffed(at, lisbon); got != test.want {
			t.Errorf("%v at %s: staffed %v, want %v", test.shift, at.In(lisbon), got, test.want)
		}
	}
	if (Hours{}).Staffed(time.Now(), lisbon) {
		t.Error("a room without staffed hours is staffed")
	}
}

func TestDays(t *testing.T) {
	tests := map[string]string{
		"mon-fri":               "mon-fri",
		"daily":                 "daily",
		"sun-sat":               "daily",
		"sat":                   "sat",
		"fri-mon":               "mon,fri,sat,sun",
		"wed, Monday,mon":       "mon,wed",
		"tuesday-thursday, sun": "tue,wed,thu,sun",
	}
	for text, want := range tests {
		c, err := Parse("room.yaml", []byte(minimal+"staffed: [{days: \""+text+"\", from: 0:00, to: 24:00}]\n"))
		if err != nil {
			t.Errorf("days %q: %v", text, err)
			continue
		}
		if got := c.Staffed[0].String(); got != want+" 00:00-24:00" {
			t.Errorf("days %q are %q, want %q", text, got, want)
		}
	}
}
