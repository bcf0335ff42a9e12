package label

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"github.com/nightshelf/nightshelf/cmd/internal/browsertest"
)

// open shows a page, at a scale of pixels by CSS pixel.
func open(t *testing.T, ctx context.Context, file string, page []byte, scale float64) {
	t.Helper()
	if err := os.WriteFile(file, page, 0o644); err != nil {
		t.Fatal(err)
	}
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(file)}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(800, 1100, chromedp.EmulateScale(scale)), chromedp.Navigate(u.String())); err != nil {
		t.Fatal(err)
	}
}

func shoot(t *testing.T, ctx context.Context, file string) []byte {
	t.Helper()
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, png, 0o644); err != nil {
		t.Fatal(err)
	}
	return png
}

// overflowing lists the texts that are wider than the box that would cut them
// off. Lengths of text are asked for, since bounding boxes are whole pixels.
const overflowing = `[...document.querySelectorAll("svg svg > text")].filter(e =>
	+e.getAttribute("x") + e.getComputedTextLength() > e.parentNode.width.baseVal.value
).map(e => e.textContent.slice(0, 60) + ": " + e.getComputedTextLength() + " in " + e.parentNode.width.baseVal.value)`

// foreign counts what a sheet must not hold, and what of a script ran.
const foreign = `document.querySelectorAll("script, img, iframe, object, a, link, [onload], [onerror]").length`

func TestTextStaysInItsBox(t *testing.T) {
	ctx := browsertest.Start(t)
	dir := browsertest.Artefacts(t)
	for name, s := range sizes {
		var labels []Label
		for _, l := range examples {
			labels = append(labels, l)
		}
		for _, n := range hostileNames {
			labels = append(labels, hostile(n))
		}
		page, err := Sheet(labels, s)
		if err != nil {
			t.Fatal(err)
		}
		open(t, ctx, filepath.Join(dir, "labels-hostile-"+name+".html"), page, 2)
		shoot(t, ctx, filepath.Join(dir, "labels-hostile-"+name+".png"))
		over, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](overflowing))
		if err != nil {
			t.Fatal(err)
		}
		if len(over) > 0 {
			t.Errorf("%s: out of their boxes:\n%s", name, strings.Join(over, "\n"))
		}
		if n, err := chromedp.Run(ctx, chromedp.Evaluate[int64](foreign)); err != nil || n != 0 {
			t.Errorf("%s: %d foreign elements, %v", name, n, err)
		}
		across, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`document.querySelector("svg").getBoundingClientRect().width / 96 * 25.4`))
		if err != nil || across < s.Width-0.1 || across > s.Width+0.1 {
			t.Errorf("%s: a label is %v mm wide on the page, %v", name, across, err)
		}
	}
}

// Of ordinary labels nothing is cut off: without the boxes that would do it,
// the picture is the same. A label that is too low for its text is not.
func TestNothingIsCutOff(t *testing.T) {
	ctx := browsertest.Start(t)
	dir := browsertest.Artefacts(t)
	const uncut = `(() => { const s = document.createElement("style"); s.textContent = "svg svg { overflow: visible }"; document.head.append(s); return true })()`
	same := func(name string, page []byte) bool {
		open(t, ctx, filepath.Join(dir, name+".html"), page, 3)
		before := shoot(t, ctx, filepath.Join(dir, name+".png"))
		if _, err := chromedp.Run(ctx, chromedp.Evaluate[bool](uncut)); err != nil {
			t.Fatal(err)
		}
		return bytes.Equal(before, shoot(t, ctx, filepath.Join(dir, name+"-uncut.png")))
	}
	for name, s := range sizes {
		var labels []Label
		for _, example := range slices.Sorted(maps.Keys(examples)) {
			labels = append(labels, examples[example])
		}
		page, err := Sheet(labels, s)
		if err != nil {
			t.Fatal(err)
		}
		if !same("labels-"+name, page) {
			t.Errorf("%s: something is cut off", name)
		}
		if same("labels-moved-"+name, bytes.ReplaceAll(page, []byte(`<text x="`), []byte(`<text dy="0.6" x="`))) {
			t.Errorf("%s: text that hangs out of its box is not seen by this test", name)
		}
	}
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page[^s]`)

func TestSheetsPrint(t *testing.T) {
	ctx := browsertest.Start(t)
	dir := browsertest.Artefacts(t)
	for _, c := range []struct{ labels, pages int }{{1, 1}, {10, 1}, {11, 2}, {30, 3}} {
		page, err := Sheet(slices.Repeat([]Label{examples["lot"]}, c.labels), Carboy)
		if err != nil {
			t.Fatal(err)
		}
		open(t, ctx, filepath.Join(dir, fmt.Sprintf("sheet-%d.html", c.labels)), page, 1)
		for paper, size := range map[string]chromedp.PaperSize{"a4": {Width: 210 / 25.4, Height: 297 / 25.4}, "letter": {Width: 8.5, Height: 11}} {
			pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPreferCSSPageSize()))
			if err != nil {
				t.Fatal(err)
			}
			if got := len(pdfPage.FindAll(pdf, -1)); got != c.pages {
				t.Errorf("%d labels on %s: %d pages, want %d", c.labels, paper, got, c.pages)
			}
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("sheet-%d-%s.pdf", c.labels, paper)), pdf, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// The codes are read back by a program that has nothing to do with the one
// that made them (zbar), from a picture with as many dots as a printer has: 203
// an inch for the tape of a label printer, 300 for an office printer.
func TestCodesAreRead(t *testing.T) {
	zbar, err := exec.LookPath("zbarimg")
	if err != nil {
		browsertest.Missing(t, "zbarimg")
	}
	ctx := browsertest.Start(t)
	dir := browsertest.Artefacts(t)
	for _, c := range []struct {
		name string
		Size
		dpi float64
	}{{"90x50", Carboy, 300}, {"62x29", Roll, 203}, {"62x29", Roll, 300}} {
		var labels []Label
		var want []string
		for _, path := range []string{"C07", "C08", "%3Cscript%3E", "Carboy%20on%20the%20middle%20shelf"} {
			l := examples["lot"]
			l.URL = "https://shelf.saltmeadow.example/vessel/" + path
			labels, want = append(labels, l), append(want, l.URL)
		}
		page, err := Sheet(labels, c.Size)
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(dir, fmt.Sprintf("codes-%s-%v.png", c.name, c.dpi))
		open(t, ctx, strings.TrimSuffix(file, "png")+"html", page, c.dpi/96)
		shoot(t, ctx, file)
		out, err := exec.CommandContext(ctx, zbar, "--quiet", "--raw", file).Output()
		if err != nil {
			t.Errorf("%s at %v dots an inch: %v", c.name, c.dpi, err)
		}
		for _, u := range want {
			if !strings.Contains("\n"+string(out), "\n"+u+"\n") {
				t.Errorf("%s at %v dots an inch: %s is not among what was read:\n%s", c.name, c.dpi, u, out)
			}
		}
	}
}
