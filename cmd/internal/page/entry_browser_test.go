package page

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"github.com/nightshelf/nightshelf/cmd/internal/browsertest"
)

// A thumb on a phone: a harvest is written and shows, an inoculation against
// the guard is asked about and answered for, an entry is corrected. Every page
// on the way is wide enough for its screen, and its controls for a thumb.
func TestWritingFromAPhone(t *testing.T) {
	ctx := browser(t)
	h, _ := counter(t)
	at := room(t, h)
	dir := browsertest.Artefacts(t)
	look := func(name string) {
		t.Helper()
		for _, size := range [][2]int64{{1280, 900}, {390, 844}} {
			do(t, ctx, chromedp.EmulateViewport(size[0], size[1], chromedp.EmulateScale(2)))
			png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%d.png", name, size[0])), png, 0o644); err != nil {
				t.Fatal(err)
			}
			if over := evaluate[int64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
				t.Errorf("%s is %d pixels too wide at %d", name, over, size[0])
			}
			if got := evaluate[[]string](t, ctx, nameless); len(got) > 0 {
				t.Errorf("%s: without a name:\n%s", name, strings.Join(got, "\n"))
			}
			if got := evaluate[[]string](t, ctx, smallIn); len(got) > 0 {
				t.Errorf("%s: too small to touch:\n%s", name, strings.Join(got, "\n"))
			}
		}
	}
	says := func(part string) {
		t.Helper()
		if got := evaluate[string](t, ctx, `document.querySelector("main").innerText`); !strings.Contains(got, part) {
			t.Fatalf("the page does not say %q:\n%s", part, got)
		}
	}

	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(at+"/vessel/C07"))
	look("write-vessel")
	do(t, ctx, chromedp.Click(chromedp.CSS(`.offers a`)), chromedp.WaitVisible(chromedp.CSS(`#f_volume_l`)))
	look("write-harvest")
	do(t, ctx, chromedp.SendKeys(chromedp.CSS(`#f_volume_l`), "6 L"), chromedp.Click(chromedp.CSS(`[name=f_refilled]`)),
		chromedp.SendKeys(chromedp.CSS(`#who`), "Mo"), chromedp.Click(chromedp.CSS(`button.big`)), chromedp.WaitVisible(chromedp.CSS(`.written`)))
	says("Written down: harvest: 6 L, refilled with new medium.")

	do(t, ctx, chromedp.Navigate(at+"/prepare?vessel=C08"))
	look("write-prepare")
	says("waited long enough since")

	do(t, ctx, chromedp.Navigate(at+"/entry?vessel=C08&kind=inoculate"), chromedp.SendKeys(chromedp.CSS(`#f_inoculum_l`), "1.8"),
		chromedp.SendKeys(chromedp.CSS(`#f_taken_out_l`), "1.8"), chromedp.SendKeys(chromedp.CSS(`#f_donor`), "C07"),
		chromedp.Click(chromedp.CSS(`button.big`)), chromedp.WaitVisible(chromedp.CSS(`.doubts`)))
	look("write-doubts")
	says("neither thiosulfate nor a chlorine test is written since")
	do(t, ctx, chromedp.Click(chromedp.CSS(`button[name=overrule]`)), chromedp.WaitVisible(chromedp.CSS(`.written`)))
	says("answered for by") // the name was remembered

	do(t, ctx, chromedp.Navigate(at+"/vessel/C07"), chromedp.Click(chromedp.CSS(`#entries a`)), chromedp.WaitVisible(chromedp.CSS(`#f_volume_l`)))
	if got := evaluate[string](t, ctx, `document.querySelector("#f_volume_l").value`); got != "6" {
		t.Errorf("the correction begins with %q litres", got)
	}
	do(t, ctx, chromedp.SetValue(chromedp.CSS(`#f_volume_l`), "6.5"), chromedp.Click(chromedp.CSS(`button.big`)))
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS(`.written`)))
	says("harvest 6.5 L")
	says("corrected")
	look("write-corrected")
}

// smallIn is small, but for boxes and rounds whose label is the target.
var smallIn = strings.Replace(small, `if (e.matches(".skip, .tell h2 a")) return false;`,
	`if (e.matches(".skip, .tell h2 a, [type=hidden]")) return false; if (e.closest("label")) e = e.closest("label");`, 1)
