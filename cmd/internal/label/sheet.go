package label

import (
	"errors"
	"slices"
)

// The part of a sheet that labels may fill, in mm: what is left of both A4
// (210 x 297) and Letter (215.9 x 279.4) within margins of sheetMargin.
const (
	sheetMargin = 10
	sheetWidth  = 190
	sheetHeight = 259
	gap         = 2 // between labels, for the scissors
)

// PerPage returns how many labels of size s stand side by side on one page of
// a sheet, and how many one below another.
func PerPage(s Size) (across, down int) {
	return int((sheetWidth + gap) / (s.Width + gap)), int((sheetHeight + gap) / (s.Height + gap))
}

// Sheet draws labels as one HTML page that needs nothing beside it and prints
// on A4 or Letter at the size that was asked for.
func Sheet(labels []Label, s Size) ([]byte, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if len(labels) == 0 {
		return nil, errors.New("a sheet without labels")
	}
	across, down := PerPage(s)
	var p picture
	p.printf(sheetHead, escaped(plain(labels[0].Room)), sheetMargin, across, number(s.Width), gap, gap)
	for page := range slices.Chunk(labels, across*down) {
		p.printf("<div class=\"page\">\n")
		for _, l := range page {
			p.label(l, s)
		}
		p.printf("</div>\n")
	}
	p.printf("</body>\n</html>\n")
	return p.Bytes(), nil
}

// sheetHead forbids the page everything but its own style: should a name ever
// slip through as markup, it could still do nothing.
const sheetHead = `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>Labels %s</title>
<style>
@page { margin: %dmm }
body { margin: 0; background: #fff }
.page { display: grid; grid-template-columns: repeat(%d, %smm); gap: %dmm; break-inside: avoid }
.page + .page { break-before: page }
.page > svg { display: block; outline: 0.1mm dotted #000 }
@media screen { body { margin: 10mm } .page + .page { margin-top: %dmm } }
</style>
</head>
<body>
`
