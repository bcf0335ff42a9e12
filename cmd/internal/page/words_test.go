package page

import (
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

func TestFigures(t *testing.T) {
	for _, c := range []struct {
		v             float64
		figure, plain string
	}{
		{0, "0", "0"}, {0.0004, "0", "0"}, {0.0123, "0.012", "0.012"}, {0.4, "0.400", "0.4"}, {0.9996, "1.00", "1"}, {1.236, "1.24", "1.24"},
		{9.996, "10.0", "10"}, {20, "20.0", "20"}, {99.96, "100", "100"}, {1250, "1250", "1250"}, {-0.02, "−0.020", "−0.02"},
		{math.NaN(), notKnown, notKnown}, {math.Inf(-1), notKnown, notKnown},
	} {
		if f, p := figure(c.v), plain(c.v); f != c.figure || p != c.plain {
			t.Errorf("%v: %q and %q, want %q and %q", c.v, f, p, c.figure, c.plain)
		}
	}
}

func TestMeasured(t *testing.T) {
	for _, c := range []struct {
		q    ingest.Quantity
		v    float64
		want string
	}{
		{unit.OD, 0.4124, "0.412"}, {unit.Light, 92.5, "93"}, {unit.Light, 0.36, "0.4"}, {unit.Temperature, 21.34, "21.3"},
		{unit.Temperature, -127, "−127"}, {unit.Airflow, 1.84, "1.8"}, {unit.Airflow, 0.055, "0.06"}, {unit.PH, 8.237, "8.24"},
	} {
		if got := measured(c.q, c.v); got != c.want {
			t.Errorf("%s %v: %q, want %q", c.q, c.v, got, c.want)
		}
	}
}

func TestSpans(t *testing.T) {
	for d, want := range map[time.Duration]string{
		-time.Second: "0 s", 59 * time.Second: "59 s", time.Minute: "1 min", time.Hour: "1 h", 200 * time.Minute: "3 h 20 min",
		24 * time.Hour: "1 d", 100 * time.Hour: "4 d 4 h",
	} {
		if got := span(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

func TestDoubling(t *testing.T) {
	for v, want := range map[float64]string{0.875: "21 h", 1.999: "48 h", 2.4: "2.4 d", 500: "over 100 d", -1: "", 0: ""} {
		if got := doubling(v); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
	if got := doubling(math.NaN()); got != "" {
		t.Errorf("NaN: %q", got)
	}
}

func TestTimesAreLocalWithTheirZone(t *testing.T) {
	at := func(h int) time.Time { return smallHour.Add(time.Duration(h) * time.Hour) }
	c := clock{zone: roomZone, now: smallHour}
	for _, k := range []struct {
		t         time.Time
		text, iso string
	}{
		{at(-1), "02:12 CET", "2025-11-25T02:12:00+01:00"}, {at(-4), "Mon 24 Nov 23:12 CET", "2025-11-24T23:12:00+01:00"},
		{at(-24 * 365), "Mon 25 Nov 2024 03:12 CET", "2024-11-25T03:12:00+01:00"}, {time.Time{}, notKnown, ""},
	} {
		if got := c.at(k.t); got.Text != k.text || got.ISO != k.iso {
			t.Errorf("%+v, want %q %q", got, k.text, k.iso)
		}
	}
	nameless := clock{zone: time.FixedZone("-03", -3*3600), now: smallHour}
	if got := nameless.at(smallHour).Text; got != "23:12 UTC-03" {
		t.Errorf("a zone without a name: %q", got)
	}
}

func TestIsolatedNamesKeepTheirDirectionToThemselves(t *testing.T) {
	for name, want := range map[string]string{"C07": "C07", "é": "\u2068é\u2069", "a\u2069\u202eb": "\u2068ab\u2069"} {
		if got := isolate(name); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

func TestFields(t *testing.T) {
	e := ingest.Entry{Kind: ingest.Harvest, Fields: map[string]ingest.Value{"volume_l": ingest.Num(6), "refilled": ingest.Bool(false),
		"cells_per_ml": ingest.Num(1.2e6), "remark": ingest.Text("dark")}}
	if got, want := entryWords(e), "harvest: 6 L, not refilled with new medium, dark, cells_per_ml 1.2e+06"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// style reads the variables of one rule of the style sheet.
func style(t *testing.T, sheet, rule string) map[string]string {
	t.Helper()
	i := strings.Index(sheet, rule)
	if i < 0 {
		t.Fatalf("the style has no rule %q", rule)
	}
	body := sheet[i+len(rule):]
	body = body[:strings.Index(body, "}")]
	vars := map[string]string{}
	for _, m := range regexp.MustCompile(`--([a-z]+): (#[0-9a-f]{6});`).FindAllStringSubmatch(body, -1) {
		vars[m[1]] = m[2]
	}
	return vars
}

// luminance is the relative luminance of #rrggbb, WCAG 2.1, definition
// "relative luminance".
func luminance(hex string) float64 {
	n, err := strconv.ParseUint(hex[1:], 16, 32)
	if err != nil {
		return math.NaN()
	}
	part := func(shift uint) float64 {
		c := float64(n>>shift&0xff) / 255
		if c <= 0.03928 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*part(16) + 0.7152*part(8) + 0.0722*part(0)
}

// contrast is the contrast ratio of two luminances, WCAG 2.1.
func contrast(a, b float64) float64 { return (max(a, b) + 0.05) / (min(a, b) + 0.05) }

// Text needs 4.5 to 1 (WCAG 2.1, 1.4.3), lines and borders of fields 3 to 1
// (1.4.11). What is drawn in the colours of Okabe and Ito on paper by day has
// its word beside it.
func TestContrast(t *testing.T) {
	sheet, err := os.ReadFile("static/style.css")
	if err != nil {
		t.Fatal(err)
	}
	day := style(t, string(sheet), "\n:root {")
	for name, over := range map[string]map[string]string{"day": {}, "night": style(t, string(sheet), ":root.night {")} {
		v := map[string]string{}
		for k, c := range day {
			v[k] = c
		}
		for k, c := range over {
			v[k] = c
		}
		check := func(fore, back string, least float64) {
			if got := contrast(luminance(v[fore]), luminance(v[back])); !(got >= least) {
				t.Errorf("%s: %s on %s has %.2f, needs %.1f", name, fore, back, got, least)
			}
		}
		for _, back := range []string{"ground", "panel"} {
			for _, fore := range []string{"ink", "soft", "link", "ready", "off"} {
				check(fore, back, 4.5)
			}
			for _, fore := range []string{"glass", "field", "seen", "vermillion", "green"} {
				check(fore, back, 3)
			}
		}
		for _, back := range []string{"vermillion", "orange", "yellow", "sky"} {
			check("onmark", back, 4.5)
		}
	}
}

func TestBothWaysToTheDarkAreTheSame(t *testing.T) {
	sheet, err := os.ReadFile("static/style.css")
	if err != nil {
		t.Fatal(err)
	}
	hour, wish := style(t, string(sheet), ":root.night {"), style(t, string(sheet), "dark) {\n  :root {")
	if len(hour) < 5 || len(hour) != len(wish) {
		t.Fatalf("%d and %d colours", len(hour), len(wish))
	}
	for k := range hour {
		if hour[k] != wish[k] {
			t.Errorf("--%s is %s by the hour and %s by wish", k, hour[k], wish[k])
		}
	}
}

// The palette of Okabe and Ito (2008), "Color Universal Design", as hexadecimal.
func TestPaletteIsOkabeAndItos(t *testing.T) {
	sheet, err := os.ReadFile("static/style.css")
	if err != nil {
		t.Fatal(err)
	}
	got := style(t, string(sheet), "\n:root {")
	for name, want := range map[string]string{"orange": "#e69f00", "sky": "#56b4e9", "green": "#009e73", "yellow": "#f0e442",
		"vermillion": "#d55e00", "purple": "#cc79a7"} { // from memory
		if got[name] != want {
			t.Errorf("%s is %s, want %s", name, got[name], want)
		}
	}
}
