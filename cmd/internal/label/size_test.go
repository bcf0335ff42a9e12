package label

import (
	"math"
	"strings"
	"testing"
)

func TestParseSize(t *testing.T) {
	for _, c := range []struct {
		text string
		want Size
		says string
	}{
		{"90x50", Carboy, ""}, {"62x29", Roll, ""}, {"62x29mm", Roll, ""}, {"101.6x50.8", Size{101.6, 50.8}, ""}, {"190x146", Size{190, 146}, ""},
		{"40x20", Size{40, 20}, ""},
		{"", Size{}, `size "" is not width by height`}, {"90", Size{}, "such as 90x50"}, {"90x", Size{}, "width by height"},
		{"x50", Size{}, "width by height"}, {"90 x 50", Size{}, "width by height"}, {"90x50x2", Size{}, "width by height"},
		{"39x20", Size{}, "width must be 40 to 190"}, {"191x50", Size{}, "width must be 40 to 190"}, {"90x19", Size{}, "height must be 20"},
		{"50x90", Size{}, "it must lie"}, {"NaNx50", Size{}, "width must be"}, {"90xNaN", Size{}, "height must be"}, {"Infx50", Size{}, "width must be"},
		{"-90x-50", Size{}, "width must be"}, {"90xInf", Size{}, "it must lie"},
	} {
		got, err := ParseSize(c.text)
		switch {
		case c.says == "" && (err != nil || got != c.want):
			t.Errorf("%q: %v, %v; want %v", c.text, got, err, c.want)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%q: error %v; want it to say %q", c.text, err, c.says)
		}
	}
}

func TestBadSizesAreNotDrawn(t *testing.T) {
	for _, s := range []Size{{}, {50, 90}, {math.NaN(), 50}, {90, math.Inf(1)}} {
		if _, err := SVG(Label{}, s); err == nil {
			t.Errorf("%v: drawn", s)
		}
		if _, err := Sheet([]Label{{}}, s); err == nil {
			t.Errorf("%v: a sheet drawn", s)
		}
	}
	if _, err := Sheet(nil, Carboy); err == nil {
		t.Error("a sheet without labels drawn")
	}
}

// Every size that may be asked for stands on a sheet at least once, and no row
// is wider and no column longer than the sheet.
func TestSheetsHoldEverySize(t *testing.T) {
	for w := float64(leastWidth); w <= mostWidth; w += 0.5 {
		for h := float64(leastHeight); h <= 300; h += 0.5 {
			s := Size{w, h}
			if s.Check() != nil {
				continue
			}
			across, down := PerPage(s)
			if across < 1 || down < 1 {
				t.Fatalf("%s: %d by %d on a page", s, across, down)
			}
			if a := float64(across)*(w+gap) - gap; a > sheetWidth {
				t.Errorf("%s: %d across are %v mm", s, across, a)
			}
			if d := float64(down)*(h+gap) - gap; d > sheetHeight {
				t.Errorf("%s: %d down are %v mm", s, down, d)
			}
		}
	}
	for s, want := range map[Size][2]int{Carboy: {2, 5}, Roll: {3, 8}} {
		if across, down := PerPage(s); [2]int{across, down} != want {
			t.Errorf("%s: %d by %d on a page, want %v", s, across, down, want)
		}
	}
}

// Nothing on a label stands on anything else or over its edge.
func TestLayoutKeepsApart(t *testing.T) {
	for w := float64(leastWidth); w <= mostWidth; w++ {
		for h := float64(leastHeight); h <= w/leastAspect; h++ {
			for _, coded := range []bool{true, false} {
				l := lay(Size{w, h}, coded)
				switch {
				case l.beside.w < 0.4*w:
					t.Errorf("%vx%v: only %v mm for the text", w, h, l.beside.w)
				case l.beside.x+l.beside.w > l.code.x, l.beside.y+l.beside.h > l.below.y, l.code.y+l.code.h > l.below.y+1e-9,
					l.code.x+l.code.w > w, l.below.y+l.below.h > h, l.below.x+l.below.w > w, l.beside.h <= 0, l.code.h <= 0:
					t.Errorf("%vx%v: %+v", w, h, l)
				}
			}
		}
	}
}
