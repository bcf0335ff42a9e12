package alerts

import (
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/analysis"
)

// cet is written out so that the test needs no time zone database.
var cet = time.FixedZone("CET", 3600)

func about() About { return About{Strain: "Tetraselmis suecica", Age: 100 * time.Hour, Zone: cet} }

func full() analysis.Finding {
	f := *finding()
	f.Normal, f.Cause = []string{"light", "temperature"}, "a shut clamp or pump"
	f.Sure = 0.954
	f.Evidence = []analysis.Evidence{{Name: "airflow", Value: 0.0999, Normal: 4.5, Unit: "L/min"},
		{Name: "density", Value: 0.4123, Normal: math.NaN()}}
	return f
}

func TestCallText(t *testing.T) {
	const want = "C07 Tetraselmis suecica, day 4: air stopped at 02:15 CET, 0.1 of 4.5 L/min. 95 % sure. " +
		"Light and temperature normal. Likely a shut clamp or pump. First: open the vent, then check clamp and pump. " +
		"Cells settle: od falls without dying."
	if got := CallText(full(), about()); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestCallTextLeavesOutTheLeastNeededFirst(t *testing.T) {
	f, w := full(), about()
	f.Cause = "a clamp that was left shut after the transfer of this afternoon, or else the pump"
	w.AtRisk = []string{"C08", "C09"}
	got := CallText(f, w)
	if n := utf8.RuneCountInString(got); n > MaxText {
		t.Errorf("%d characters: %s", n, got)
	}
	for _, must := range []string{"C07 ", "02:15 CET", "0.1 of 4.5 L/min.", "At risk: C08 and C09.", "First: open the vent, then check clamp and pump."} {
		if !strings.Contains(got, must) {
			t.Errorf("lacks %q: %s", must, got)
		}
	}
	if strings.Contains(got, "Cells settle") || strings.Contains(got, "...") {
		t.Errorf("cut where a sentence could be left out: %s", got)
	}
}

func TestNothingIsSaidTwice(t *testing.T) {
	f := full()
	f.Cause = "a shut clamp or the pump; cells settle, so that the od falls though none has died"
	for _, got := range []string{CallText(f, about()), CallBody(f, about())} {
		if n := strings.Count(strings.ToLower(got), "cells settle"); n != 1 {
			t.Errorf("said %d times that cells settle: %s", n, got)
		}
	}
}

// Each class has words of its own when the finding says nothing but its class.
func TestEveryClassSpeaks(t *testing.T) {
	heard := map[string]analysis.Class{}
	for _, c := range analysis.Classes {
		f := analysis.Finding{Key: analysis.Key{Vessel: "C07", Class: c}, Since: t0, Seen: t0.Add(time.Hour)}
		got := CallText(f, about())
		if other, twice := heard[got]; twice {
			t.Errorf("%s and %s say the same: %s", c, other, got)
		}
		heard[got] = c
		if c != analysis.Notice && (!strings.Contains(got, "First: ") || !strings.Contains(got, "Likely ")) {
			t.Errorf("%s lacks cause or first step: %s", c, got)
		}
		if said[c].cleared == "" || c.Surroundings() && said[c].safety == "" {
			t.Errorf("%s lacks words", c)
		}
		if c != analysis.Notice && together[c] == "" {
			t.Errorf("%s has no cause for many at once", c)
		}
		t.Log(got)
		t.Log(ClearedText(Alarm{Key: f.Key, Finding: f, Raised: t0, Clear: t0.Add(90 * time.Minute)}, about()))
	}
}

func TestClearedText(t *testing.T) {
	a := Alarm{Key: key, Finding: full(), Raised: t0.Add(3 * time.Minute), Clear: t0.Add(26 * time.Minute)}
	const want = "C07 Tetraselmis suecica, day 4: over, air is as set since 02:41 CET. It lasted 26 min. " +
		"It was: air stopped, 0.1 of 4.5 L/min. Have a look in the morning all the same."
	if got := ClearedText(a, about()); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestCallBody(t *testing.T) {
	f, w := full(), about()
	f.Seen = t0.Add(12 * time.Minute)
	w.AtRisk = []string{"C08"}
	const want = `C07 Tetraselmis suecica, day 4, lot L23
Air stopped, 0.1 of 4.5 L/min.
Since 02:15 CET, 12 min before this was decided.
95 % sure.
- airflow 0.0999 L/min, expected 4.5 L/min
- density 0.412
Light and temperature normal.
Likely a shut clamp or pump.
First: open the vent, then check clamp and pump.
Lots at risk, related to this one: C08.
Mind: cells settle: od falls without dying.
Safety: open the vent before the air: a shut vessel under pressure bursts. Seawater and mains do not mix: dry hands, switch off before touching lamp, pump, heater or chiller.
Safety data sheets, local rules and trained staff come first.`
	if got := CallBody(f, w); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestGroupText(t *testing.T) {
	var fs []analysis.Finding
	for _, v := range []string{"C03", "C01", "C02"} {
		f := full()
		f.Vessel, f.Since = v, t0.Add(time.Duration(len(fs))*time.Second)
		fs = append(fs, f)
	}
	const want = "3 vessels at once: air stopped at 02:15 CET. C01, C02 and C03. Likely one cause for all: the air pump, its main line " +
		"or the mains. First: open the vent, then check clamp and pump. Cells settle: od falls without dying."
	if got := GroupText(fs, cet); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	body := GroupBody(fs, cet)
	for _, must := range []string{"- C02: air stopped at 02:15 CET, 0.1 of 4.5 L/min.", "Safety: open the vent"} {
		if !strings.Contains(body, must) {
			t.Errorf("the body lacks %q:\n%s", must, body)
		}
	}
	if GroupText(nil, cet) != "" || GroupBody(nil, cet) != "" || GroupText(fs[:1], cet) != CallText(fs[0], About{Zone: cet}) {
		t.Error("none or one of a group")
	}
}

func TestClock(t *testing.T) {
	now := time.Date(2025, 11, 24, 2, 15, 0, 0, cet)
	for _, c := range []struct {
		at   time.Time
		want string
	}{
		{now, "02:15 CET"},
		{now.Add(-2 * time.Hour), "00:15 CET"},
		{now.Add(-3 * time.Hour), "Sun 23:15 CET"},
		{now.Add(-6 * 24 * time.Hour), "18 Nov 02:15 CET"},
		{now.Add(-365 * 24 * time.Hour), "24 Nov 2024 02:15 CET"},
		{now.Add(time.Hour), "03:15 CET"},
	} {
		if got := clock(c.at, now, cet); got != c.want {
			t.Errorf("%v: got %q, want %q", c.at, got, c.want)
		}
	}
	if got := clock(now, now, nil); got != "01:15 UTC" {
		t.Errorf("no zone: %q", got)
	}
}

func TestSureness(t *testing.T) {
	for p, want := range map[float64]string{0: "", -1: "", 0.001: "1 % sure.", 0.5: "50 % sure.", 0.999: "99 % sure.", 1: "99 % sure."} {
		if got := sureness(analysis.Finding{Sure: p}); got != want {
			t.Errorf("%v: got %q, want %q", p, got, want)
		}
	}
	if got := sureness(analysis.Finding{Sure: math.NaN()}); got != "" {
		t.Errorf("NaN: %q", got)
	}
}

func TestSpanAndNumber(t *testing.T) {
	for d, want := range map[time.Duration]string{
		20 * time.Second: "less than a minute", 59 * time.Minute: "59 min", time.Hour: "1 h 00 min",
		49 * time.Hour: "2 days 1 h", 48*time.Hour - time.Minute: "47 h 59 min"} {
		if got := span(d); got != want {
			t.Errorf("%v: got %q, want %q", d, got, want)
		}
	}
	for v, want := range map[float64]string{0: "0", 0.0123456: "0.0123", 21.34: "21.3", 1234567: "1234567", -127: "-127",
		math.Inf(1): "unknown", 100: "100", 1e-9: "0"} {
		if got := number(v, ""); got != want {
			t.Errorf("%v: got %q, want %q", v, got, want)
		}
	}
}

// Whatever people write into names, a text is at most MaxText characters on
// one line, valid, and cut neither in a character nor off its accent.
func TestTextsFit(t *testing.T) {
	word := rapid.StringN(0, 400, -1)
	rapid.Check(t, func(t *rapid.T) {
		f := full()
		f.Class = rapid.SampledFrom(analysis.Classes).Draw(t, "class")
		f.Vessel, f.What, f.Cause, f.First = word.Draw(t, "vessel"), word.Draw(t, "what"), word.Draw(t, "cause"), word.Draw(t, "first")
		w := about()
		w.Strain, w.AtRisk = word.Draw(t, "strain"), rapid.SliceOfN(word, 0, 9).Draw(t, "risk")
		for _, s := range []string{CallText(f, w), ClearedText(Alarm{Key: f.Key, Finding: f, Raised: t0, Clear: t0}, w), GroupText([]analysis.Finding{f, f}, cet)} {
			if n := utf8.RuneCountInString(s); n == 0 || n > MaxText || !utf8.ValidString(s) || strings.ContainsAny(s, "\n\r\t\x00") {
				t.Fatalf("%d characters: %q", n, s)
			}
		}
	})
}

func TestCut(t *testing.T) {
	for _, c := range []struct {
		in   string
		n    int
		want string
	}{
		{"short", 5, "short"},
		{"open the vent, then the clamp", 17, "open the vent..."},
		{"Kulturgefäßverschluss", 12, "Kulturgef..."},
		{"aaaae\u0301bbbbbbb", 8, "aaaa..."}, // from memory: U+0301 belongs to the letter before it
		{"abcdef", 3, ""},
		{"äöüäöüäöü", 8, "äöüäö..."},
	} {
		if got := cut(c.in, c.n); got != c.want {
			t.Errorf("cut(%q, %d) = %q, want %q", c.in, c.n, got, c.want)
		}
	}
}
