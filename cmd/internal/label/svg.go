package label

import (
	"bytes"
	"encoding/xml"
	"fmt"
)

// SVG draws one label, its lengths in millimetres.
func SVG(l Label, s Size) ([]byte, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	var p picture
	p.label(l, s)
	return p.Bytes(), nil
}

// Parts of the drawing.
const (
	margin    = 0.06 // of the height, within
	marginMin = 1.5  // mm
	marginMax = 3    // mm
	belowMost = 0.2  // of the height, for the line below
	codeMost  = 0.45 // of the width, for the code
	wordsMost = 0.3  // of the width, for what is said in place of a code
	lineOfEm  = 1.26 // height of a line: ascenders with accents, and descenders
	baseOfEm  = 0.97 // of its baseline, from its top
	padOfEm   = 0.04 // before and after its text: some letters lean out
)

// box is a rectangle, in mm from the label's upper left corner.
type box struct{ x, y, w, h float64 }

// layout is where things stand on a label.
type layout struct{ beside, code, below box }

func lay(s Size, coded bool) layout {
	m := min(max(margin*s.Height, marginMin), marginMax)
	// The line below is as high as the widest time allows.
	widest := width("28 Nov 2026 18:38") + 2*padOfEm
	h := min(lineOfEm*(s.Width-2*m)/widest, belowMost*s.Height)
	below := box{m, s.Height - m - h, s.Width - 2*m, h}
	// The code brings its own margin, and may stand nearer to the edge.
	side := min(below.y-m/2, codeMost*s.Width)
	w := side
	if !coded {
		w = min(side, wordsMost*s.Width)
	}
	left := s.Width - m/2 - w
	return layout{beside: box{m, m, left - 1.3*m, below.y - 1.3*m}, code: box{left, m / 2, w, side}, below: below}
}

// picture writes SVG.
type picture struct{ bytes.Buffer }

func (p *picture) label(l Label, s Size) {
	at := lay(s, true)
	c, instead := codeOf(l, at.code.h)
	if instead != nil {
		at = lay(s, false)
	}
	p.printf(`<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" role="img" font-family="Arial, Helvetica, sans-serif" fill="#000">`,
		number(s.Width), number(s.Height), number(s.Width), number(s.Height))
	p.printf("\n<title>%s</title>\n<desc>%s</desc>\n", escaped(l.title()), escaped(l.desc()))
	p.printf(`<rect width="%s" height="%s" fill="#fff"/>`+"\n", number(s.Width), number(s.Height))
	beside, below := l.rows()
	p.rows(at.beside, beside)
	p.line(at.below, below, true)
	if instead != nil {
		p.instead(at.code, instead)
	} else {
		p.code(at.code, c)
	}
	p.printf("</svg>\n")
}

// rows shares the height of b among rows.
func (p *picture) rows(b box, rows []row) {
	unit := b.h / shares(rows)
	for i, r := range rows {
		if r.spare && unit*r.share < lineOfEm*leastFont {
			p.rows(b, append(rows[:i:i], rows[i+1:]...))
			return
		}
	}
	for _, r := range rows {
		p.row(box{b.x, b.y, b.w, unit * r.share}, r)
		b.y += unit * r.share
	}
}

// row writes r into b: in two lines where it may take them, and would have to
// be cut in one.
func (p *picture) row(b box, r row) {
	size := b.h / lineOfEm
	if r.double && mostShrink*size*width(r.lead+r.name) > b.w-2*padOfEm*size {
		if first, second := halves(r.lead + r.name); first != "" && second != "" {
			b.h /= 2
			p.line(b, words{name: first}, r.bold)
			b.y += b.h
			p.line(b, words{name: second}, r.bold)
			return
		}
	}
	p.line(b, r.words, r.bold)
}

func shares(rows []row) (sum float64) {
	for _, r := range rows {
		sum += r.share
	}
	return sum
}

// line writes w into b, which cuts off whatever a strange font would put
// outside of it: an inner svg is clipped to its own rectangle.
func (p *picture) line(b box, w words, bold bool) {
	size := b.h / lineOfEm
	text, small := w.fit(b.w-2*padOfEm*size, size)
	weight := ""
	if bold {
		weight = ` font-weight="bold"`
	}
	base := (b.h-lineOfEm*small)/2 + baseOfEm*small
	p.printf(`<svg x="%s" y="%s" width="%s" height="%s"><text x="%s" y="%s" font-size="%s"%s>%s</text></svg>`+"\n", number(b.x), number(b.y),
		number(b.w), number(b.h), number(padOfEm*size), number(base), number(small), weight, escaped(text))
}

// code draws c into b.
func (p *picture) code(b box, c code) {
	p.printf(`<svg x="%s" y="%s" width="%s" height="%s" viewBox="0 0 %d %d" shape-rendering="crispEdges"><rect width="%d" height="%d" fill="#fff"/><path d="%s"/></svg>`+"\n",
		number(b.x), number(b.y), number(b.w), number(b.h), c.side, c.side, c.side, c.side, c.path)
}

// instead says why there is no code.
func (p *picture) instead(b box, lines []string) {
	b.w -= b.y // as far from the edge as it stands from the top
	widest := 0.0
	for _, s := range lines {
		widest = max(widest, width(s)+2*padOfEm)
	}
	h := min(b.h/float64(len(lines)), lineOfEm*b.w/widest)
	for i, s := range lines {
		p.line(box{b.x, 2*b.y + float64(i)*h, b.w, h}, words{lead: s}, false)
	}
}

func (p *picture) printf(format string, args ...any) { _, _ = fmt.Fprintf(p, format, args...) }

// escaped is s as text between tags, in SVG as in HTML.
func escaped(s string) string {
	var b bytes.Buffer
	_ = xml.EscapeText(&b, []byte(s)) // a buffer takes everything
	return b.String()
}
