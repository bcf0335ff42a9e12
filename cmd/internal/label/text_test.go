package label

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"
)

// hostileNames are names that somebody could give a vessel or a lot.
var hostileNames = []string{
	"<script>alert(1)</script>", "\" onload=\"alert(1)", "</title><script>", "]]>", "<!--", "&amp;&lt;&#0;", "a\x00b\x1b[31mc", "a\nb\tc\r\nd",
	"\xff\xfe\xc3(", "\ufffe\uffff\ufdd0", "مزرعة الطحالب", "\u202egnp.exe", "\u2066\u2067x\u2069", "🦠🧫👩‍🔬🏴‍☠️🇵🇹", "🇵🇹🇵🇹🇵🇹🇵🇹🇵🇹🇵🇹🇵🇹🇵🇹",
	strings.Repeat("W", 200), strings.Repeat("é ", 100), strings.Repeat("漢", 200), strings.Repeat("👩‍🔬", 60), "e" + strings.Repeat("\u0301", 300),
	"\u0301\u0302", "\u200b\u200d\u2060", strings.Repeat("\u200d", 300), "\ufdfd\ufdfd", "\u2e3b\u2e3b", "&#x3c;script&#x3e;", "${x} {{.}} %s %d", "   ",
}

func TestPlain(t *testing.T) {
	for in, want := range map[string]string{
		"C07": "C07", "  C07\t\n 8 ": "C07 8", "a\x00b": "a b", "\u202egnp.exe": "gnp.exe", "\u2066x\u2069": "x", "\ufeffC1": "C1", "a\u2028b": "a b",
		"\xff": "\ufffd", "\ufffe": "\ufffd", "e\u0301\u0301\u0301\u0301\u0301\u0301": "e\u0301\u0301\u0301\u0301", "": "", " \x01 ": "",
		"👩‍🔬": "👩‍🔬", "\u200d\u200d": "", "\u0301a \u0301b": "a b", "a\u200d\u200d b\u200d": "a\u200d b", "می\u200cخواهم": "می\u200cخواهم",
		strings.Repeat("x", 161): strings.Repeat("x", 159) + "…", strings.Repeat("x", 160): strings.Repeat("x", 160),
	} {
		if got := plain(in); got != want {
			t.Errorf("plain(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestClustersStayWhole(t *testing.T) {
	for s, want := range map[string]string{"👩‍🔬x": "👩‍🔬", "🇵🇹🇪🇸": "🇵🇹", "e\u0301x": "e\u0301", "ab": "a", "👍🏽x": "👍🏽", "❤️x": "❤️"} {
		if got := s[:cluster(s)]; got != want {
			t.Errorf("first of %q is %q, want %q", s, got, want)
		}
	}
}

func TestFit(t *testing.T) {
	for _, c := range []struct {
		s          string
		room, size float64
		want       string
		least      float64 // font size at least
	}{
		{"C07", 40, 9, "C07", 9}, {"tisochrysis-lutea", 40, 4.6, "tisochrysis-lutea", 2.8},
		{strings.Repeat("W", 200), 40, 5, strings.Repeat("W", 11) + "…", 3}, {"", 40, 5, "", 5},
	} {
		got, size := fit(c.s, c.room, c.size)
		if got != c.want || size < c.least-1e-9 || size > c.size || width(got)*size > c.room+1e-9 {
			t.Errorf("fit(%.20q, %v, %v) = %q at %v mm, %v mm wide", c.s, c.room, c.size, got, size, width(got)*size)
		}
	}
}

func TestHalves(t *testing.T) {
	for s, want := range map[string][2]string{"left of the door": {"left of", "the door"}, "abcdef": {"abc", "def"}, "x": {"", "x"}, "": {"", ""},
		"Carboy on the middle shelf": {"Carboy on the", "middle shelf"}, "🇵🇹🇵🇹": {"🇵🇹", "🇵🇹"}} {
		a, b := halves(s)
		if a != want[0] || b != want[1] {
			t.Errorf("halves(%q) = %q, %q; want %q", s, a, b, want)
		}
	}
}

func TestWhatALabelSays(t *testing.T) {
	lot := examples["lot"]
	for _, c := range []struct {
		change func(*Label)
		want   string // in the text of the label
		not    string
	}{
		{func(*Label) {}, "25 Nov 2026 14:30", "standing"},
		{func(l *Label) { l.Zone = nil }, "25 Nov 2026 15:30", "14:30"},
		{func(l *Label) { l.Lot = "" }, "lot not named", "standing"},
		{func(l *Label) { l.Inoculated = time.Time{} }, "inoculation not entered", "standing"},
		{func(l *Label) { l.Strain = "\x00" }, "strain not entered", ""},
		{func(l *Label) { l.Donor = "" }, "Generation 4, donor not entered", ""},
		{func(l *Label) { l.Generation = 0 }, "Donor TI-188", "Generation"},
		{func(l *Label) { l.VolumeL = 0 }, "Medium f/2", " L of"},
		{func(l *Label) { l.VolumeL = 1250 }, "1250 L of f/2", ""},
		{func(l *Label) { l.URL = "" }, "no code:", "<path"},
		{func(l *Label) { l.URL += strings.Repeat("x", 400) }, "the page is too", "<path"},
		{func(l *Label) { l.URL += strings.Repeat("x", 8000) }, "the page is too", "<path"},
		{func(l *Label) { l.Lot, l.Inoculated, l.Filled = "", time.Time{}, lot.Inoculated },
			"standing medium, filled 25 Nov 2026 14:30, not inoculated", "lot not named"},
		{func(l *Label) { l.Lot, l.Inoculated = "", time.Time{} }, "standing medium, filling not entered, not inoculated", ""},
	} {
		l := lot
		c.change(&l)
		svg, err := SVG(l, Carboy)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(svg), c.want) || c.not != "" && strings.Contains(string(svg), c.not) {
			t.Errorf("want %q and not %q:\n%s", c.want, c.not, svg)
		}
	}
}

// checkHarmless fails where a drawing is no well-formed XML or holds any
// element that we do not write.
func checkHarmless(t *testing.T, drawn []byte) {
	t.Helper()
	if !utf8.Valid(drawn) {
		t.Error("not UTF-8")
	}
	for _, r := range string(drawn) {
		if unicode.IsControl(r) && r != '\n' || unicode.Is(unicode.Bidi_Control, r) && r != '\u2068' && r != '\u2069' {
			t.Errorf("holds %U", r)
		}
	}
	d := xml.NewDecoder(bytes.NewReader(drawn))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, drawn)
		}
		switch e := token.(type) {
		case xml.StartElement:
			if !strings.Contains(" svg title desc rect text path ", " "+e.Name.Local+" ") {
				t.Fatalf("holds an element %q", e.Name.Local)
			}
			for _, a := range e.Attr {
				if strings.HasPrefix(a.Name.Local, "on") || strings.Contains(a.Name.Local, "href") || a.Name.Local == "style" {
					t.Fatalf("%s has an attribute %q", e.Name.Local, a.Name.Local)
				}
			}
		case xml.Comment, xml.ProcInst, xml.Directive:
			t.Fatalf("holds %T", e)
		}
	}
}

func hostile(name string) Label {
	return Label{Room: name, Vessel: name, Lot: name, Strain: name, Medium: name, Donor: name, Generation: 3,
		Inoculated: examples["lot"].Inoculated, VolumeL: 18, URL: "https://shelf.example/vessel/C07"}
}

func TestHostileNamesAreHarmless(t *testing.T) {
	for _, name := range hostileNames {
		svg, err := SVG(hostile(name), Roll)
		if err != nil {
			t.Fatal(err)
		}
		checkHarmless(t, svg)
		if len(svg) > 24<<10 {
			t.Errorf("%.20q: a label of %d bytes", name, len(svg))
		}
	}
}

func FuzzNames(f *testing.F) {
	for _, name := range hostileNames {
		f.Add(name, 90.0, 50.0, 18.0)
	}
	f.Fuzz(func(t *testing.T, name string, across, down, volume float64) {
		s := Size{across, down}
		l := hostile(name)
		l.VolumeL, l.URL = volume, "https://shelf.example/"+name
		svg, err := SVG(l, s)
		if (err == nil) != (s.Check() == nil) {
			t.Fatalf("%v: %v", s, err)
		}
		if err != nil {
			return
		}
		checkHarmless(t, svg)
		for _, w := range []words{{"Lot ", plain(name)}, {"", plain(name)}} {
			if got, size := fit(w.lead+w.name, 30, 4); width(got)*size > 30+1e-9 {
				t.Errorf("%q at %v mm is %v mm wide", got, size, width(got)*size)
			}
		}
	})
}
