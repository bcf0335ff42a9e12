package page

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"github.com/nightshelf/nightshelf/cmd/internal/browsertest"
)

// browser knows a host that is not this machine's loopback: over plain http it
// then sends no Sec-Fetch-Site, as on a phone in the room.
func browser(t *testing.T) context.Context {
	t.Helper()
	return browsertest.Start(t, chromedp.Flag("host-resolver-rules", "MAP room.invalid 127.0.0.1"))
}

// room serves the invented room under a name that is no loopback.
func room(t *testing.T, h http.Handler) string {
	t.Helper()
	server := httptest.NewServer(h)
	t.Cleanup(server.Close)
	u, err := url.Parse(server.URL)
	if err != nil {
		t.Fatal(err)
	}
	return "http://room.invalid:" + u.Port()
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

func evaluate[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script))
	if err != nil {
		t.Fatalf("evaluate %.60q: %v", script, err)
	}
	return v
}

// nameless lists the controls that have no name for who cannot see them, and
// the pictures too.
const nameless = `[...document.querySelectorAll("a[href],button,input,summary,svg[role=img]")].filter(e => {
	if (e.type === "hidden") return false;
	const label = e.labels && e.labels[0] ? e.labels[0].textContent : "";
	const title = e.querySelector ? (e.querySelector("title") || {}).textContent : "";
	return !(e.getAttribute("aria-label") || label || title || e.textContent || "").trim();
}).map(e => e.outerHTML.slice(0, 120))`

// small lists the controls that a thumb can miss: under 44 pixels, where they
// are on screen. The name on a card is as large as the card.
const small = `[...document.querySelectorAll("a[href],button,input,summary")].filter(e => {
	if (e.matches(".skip, .tell h2 a")) return false;
	const r = e.getBoundingClientRect();
	return r.width > 0 && (r.height < 43.5 || r.width < 43.5);
}).map(e => e.outerHTML.slice(0, 120))`

func TestScreens(t *testing.T) {
	ctx := browser(t)
	shelf := invented()
	hostile := invented()
	hostile.Vessels = nil
	for _, name := range hostileNames {
		v := lot(name, "carboy", 20, 3, 0.05, 0.7, 2, "exponential")
		v.Estimate.Strain = name
		hostile.Vessels = append(hostile.Vessels, v)
	}
	day := invented()
	day.Now, day.Staffed = smallHour.Add(9*time.Hour), true
	handler := func(s Shelf) http.Handler {
		return Handler(Options{Source: fixed{shelf: s}, History: past{shelf: s}, Acknowledger: &ledger{}})
	}
	night, hard, noon, bare := room(t, handler(shelf)), room(t, handler(hostile)), room(t, handler(day)), room(t, handler(Shelf{Broker: "tcp://shelf.invalid:1883", Now: smallHour}))
	dir := browsertest.Artefacts(t)
	for _, screen := range []struct {
		name string
		url  string
	}{{"shelf", night + "/"}, {"vessel", night + "/vessel/C04"}, {"alarms", night + "/alarms"}, {"aside", night + "/set-aside"},
		{"day", noon + "/"}, {"hostile", hard + "/"}, {"empty", bare + "/"}, {"missing", night + "/nowhere"}} {
		for _, size := range [][2]int64{{390, 844}, {1280, 800}} {
			t.Run(fmt.Sprintf("%s-%d", screen.name, size[0]), func(t *testing.T) {
				do(t, ctx, chromedp.EmulateViewport(size[0], size[1], chromedp.EmulateScale(2)), chromedp.Navigate(screen.url))
				for name, take := range map[string]chromedp.Action[[]byte]{"": chromedp.CaptureScreenshot(), "-whole": chromedp.FullScreenshot(100)} {
					png, err := chromedp.Run(ctx, take)
					if err != nil {
						t.Fatal(err)
					}
					file := filepath.Join(dir, fmt.Sprintf("%s-%d%s.png", screen.name, size[0], name))
					if err := os.WriteFile(file, png, 0o644); err != nil {
						t.Fatal(err)
					}
				}
				if over := evaluate[int64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
					t.Errorf("the page is %d pixels too wide", over)
				}
				if got := evaluate[[]string](t, ctx, nameless); len(got) > 0 {
					t.Errorf("without a name:\n%s", strings.Join(got, "\n"))
				}
				if got := evaluate[[]string](t, ctx, small); len(got) > 0 {
					t.Errorf("too small to touch:\n%s", strings.Join(got, "\n"))
				}
			})
		}
	}
}

// changing is a source whose room a test changes.
type changing struct {
	mu    sync.Mutex
	shelf Shelf
}

func (c *changing) Shelf() Shelf {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.shelf
}

func TestAcknowledgeFromABrowserOverPlainHTTP(t *testing.T) {
	ctx := browser(t)
	got := make(chan string, 1)
	at := room(t, Handler(Options{Source: &changing{shelf: invented()}, Acknowledger: ackFunc(func(id, who string) { got <- id + " by " + who })}))
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(at+"/"),
		chromedp.SendKeys(chromedp.CSS(`input[name=who]`), "Mo"), chromedp.Click(chromedp.CSS(`.ack button`)),
		chromedp.WaitVisible(chromedp.CSS(`#shelf`)))
	select {
	case s := <-got:
		if s != "a1 by Mo" {
			t.Errorf("acknowledged %q, want %q", s, "a1 by Mo")
		}
	case <-ctx.Done():
		t.Fatal("the button acknowledged nothing: ", evaluate[string](t, ctx, `document.body.innerText.slice(0, 300)`))
	}
}

type ackFunc func(id, who string)

func (f ackFunc) Acknowledge(_ context.Context, id, who string) error { f(id, who); return nil }
