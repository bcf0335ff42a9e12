package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/nightshelf/nightshelf/analysis/plan"
)

// benchPage writes lines that fit a terminal, and remembers the first error.
type benchPage struct {
	w   io.Writer
	err error
}

const benchWidth = 96

// line writes text, wrapped; what follows the first line is indented by hang.
func (p *benchPage) line(hang int, format string, args ...any) {
	width, out := 0, ""
	for i, word := range strings.Split(fmt.Sprintf(format, args...), " ") {
		switch {
		case i > 0 && width+1+len(word) > benchWidth && word != "":
			out += "\n" + strings.Repeat(" ", hang) + word
			width = hang + len(word)
		case i > 0:
			out += " " + word
			width += 1 + len(word)
		default:
			out, width = word, len(word)
		}
	}
	if _, err := fmt.Fprintln(p.w, out); p.err == nil {
		p.err = err
	}
}

// list writes a heading and its sentences, nothing where there are none.
func (p *benchPage) list(heading string, sentences []string) {
	if len(sentences) == 0 {
		return
	}
	p.line(0, "")
	p.line(0, "%s", heading)
	for _, s := range sentences {
		p.line(4, "  - %s", s)
	}
}

// advice ends a page: warnings, what was taken for granted, cautions, and last
// the line that defers.
func (p *benchPage) advice(a plan.Advice) {
	p.list("WARNING", a.Warnings)
	p.list("Taken for granted", a.Assumed)
	var cautions []string
	for _, c := range a.Cautions {
		if c != plan.Defer {
			cautions = append(cautions, string(c))
		}
	}
	p.list("Take care", cautions)
	p.line(0, "")
	p.line(0, "%s", plan.Defer)
}
