package ingest

import (
	"math"
	"strings"
	"testing"
	"time"
)

var noon = time.Date(2025, time.November, 25, 12, 0, 0, 0, time.UTC)

func TestWindowCheck(t *testing.T) {
	year := 366 * 24 * time.Hour
	replay := time.Date(2023, time.July, 10, 0, 0, 0, 0, time.UTC)
	var none time.Time
	tests := []struct {
		name                   string
		window                 Window
		at, arrived, reference time.Time
		want                   string // of the error; empty: good
	}{
		{"now", Window{}, noon, noon, noon, ""},
		{"as far ahead as is taken", Window{}, noon.Add(time.Hour), noon, noon, ""},
		{"too far ahead", Window{}, noon.Add(time.Hour + time.Second), noon, noon,
			"time 2025-11-25T13:00:01Z is 1h0m1s ahead of 2025-11-25T12:00:00Z: at most 1h0m0s is taken"},
		{"as old as is taken", Window{}, noon.Add(-year), noon, noon, ""},
		{"too old", Window{}, noon.Add(-year - time.Second), noon, noon,
			"time 2024-11-24T11:59:59Z is 366 days before 2025-11-25T12:00:00Z: at most 366 days is taken"},
		{"never set", Window{}, time.Unix(86400, 0), noon, noon,
			"time 1970-01-02T00:00:00Z is before the year 2000: the clock was never set"},
		{"own bounds", Window{Ahead: time.Minute, Behind: time.Minute}, noon.Add(-61 * time.Second), noon, noon,
			"time 2025-11-25T11:58:59Z is 1m1s before 2025-11-25T12:00:00Z: at most 1m0s is taken"},
		{"own bounds, ahead", Window{Ahead: time.Minute}, noon.Add(61 * time.Second), noon, noon,
			"time 2025-11-25T12:01:01Z is 1m1s ahead of 2025-11-25T12:00:00Z: at most 1m0s is taken"},
		{"replay follows its own clock", Window{}, replay, noon, replay, ""},
		{"replay, arrival does not count", Window{}, noon, noon, replay,
			"time 2025-11-25T12:00:00Z is 2 years ahead of 2023-07-10T00:00:00Z: at most 1h0m0s is taken"},
		{"no reference, old", Window{}, earliest, noon, none, ""},
		{"no reference, before 2000", Window{}, earliest.Add(-1), noon, none,
			"time 1999-12-31T23:59:59Z is before the year 2000: the clock was never set"},
		{"no reference, ahead of arrival", Window{}, noon.Add(time.Hour), noon, none, ""},
		{"no reference, too far ahead of arrival", Window{}, noon.Add(2 * time.Hour), noon, none,
			"time 2025-11-25T14:00:00Z is 2h0m0s ahead of 2025-11-25T12:00:00Z: at most 1h0m0s is taken"},
		{"neither reference nor arrival", Window{}, noon.Add(100 * year), none, none, ""},
	}
	for _, tt := range tests {
		got := ""
		if err := tt.window.Check(tt.at, tt.arrived, tt.reference); err != nil {
			got = err.Error()
		}
		if got != tt.want {
			t.Errorf("%s: got error %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestWindowRead(t *testing.T) {
	ms := noon.UnixMilli()
	tests := []struct {
		n    int64
		p    Precision
		hint string // of the error; empty: good
	}{
		{noon.UnixNano(), "", ""},
		{noon.UnixNano(), Nanoseconds, ""},
		{noon.UnixMicro(), Microseconds, ""},
		{ms, Milliseconds, ""},
		{noon.Unix(), Seconds, ""},
		{ms, Nanoseconds, "(1764072000000 looks like milliseconds: set precision: ms)"},
		{noon.Unix(), Nanoseconds, "(1764072000 looks like seconds: set precision: s)"},
		{noon.UnixMicro(), Milliseconds, "(1764072000000000 looks like microseconds: set precision: us)"},
		{noon.UnixNano(), Seconds, "(1764072000000000000 looks like nanoseconds: set precision: ns)"},
		{0, Nanoseconds, "the clock was never set"},
		{math.MaxInt64, Seconds, "time 9223372036854775807 is no number of seconds"},
		{math.MinInt64, Milliseconds, "time -9223372036854775808 is no number of milliseconds"},
		{math.MinInt64, Nanoseconds, "time 1677-09-21T00:12:43Z is before the year 2000"},
	}
	for _, tt := range tests {
		at, err := Window{}.Read(tt.n, tt.p, noon, noon)
		switch {
		case tt.hint == "" && (err != nil || !at.Equal(noon)):
			t.Errorf("Read(%d, %s) = %v, %v; want %v", tt.n, tt.p, at, err, noon)
		case tt.hint != "" && (err == nil || !strings.Contains(err.Error(), tt.hint)):
			t.Errorf("Read(%d, %s): error %v, want one with %q", tt.n, tt.p, err, tt.hint)
		}
	}
}

func TestPrecision(t *testing.T) {
	for _, p := range append([]Precision{""}, Precisions...) {
		for _, at := range []time.Time{noon, noon.Add(-100 * 366 * 24 * time.Hour)} {
			n := at.UnixNano() / int64(p.Duration())
			if got, ok := p.Time(n); !p.Valid() || !ok || !got.Equal(at) {
				t.Errorf("%d %s: got %v, %t; want %v", n, p, got, ok, at)
			}
		}
	}
	if p := Precision("h"); p.Valid() || p.String() != `unknown precision "h"` {
		t.Errorf("precision h passes as %s", p)
	}
}
