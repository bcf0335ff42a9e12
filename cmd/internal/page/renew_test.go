package page

import (
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
)

// renewNow makes the script take its next turn.
const renewNow = `document.dispatchEvent(new Event("visibilitychange")) && 1`

func TestPageRenewsItselfAroundWhoIsTyping(t *testing.T) {
	ctx := browser(t)
	source := &changing{shelf: invented()}
	at := room(t, Handler(Options{Source: source, Acknowledger: &ledger{}}))
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(at+"/"), chromedp.SendKeys(chromedp.CSS(`input[name=who]`), "Mo"))
	source.mu.Lock()
	source.shelf.Alarms = nil
	source.shelf.Vessels = append(source.shelf.Vessels, lot("N1", "flask", 2, 1, .03, .7, 2, "lag"))
	source.mu.Unlock()
	evaluate[int64](t, ctx, renewNow)
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS(`.shelf a[href="/vessel/N1"]`)))
	if got := evaluate[string](t, ctx, `document.querySelector("input[name=who]")?.value ?? "gone"`); got != "Mo" {
		t.Errorf("after a renewal the name half typed is %q", got)
	}
	evaluate[int64](t, ctx, `document.activeElement.blur(), `+renewNow)
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS(`#wrong .quiet`)))
}

func TestPageSaysThatItHasLostTheDaemon(t *testing.T) {
	ctx := browser(t)
	h := Handler(Options{Source: &changing{shelf: invented()}})
	var down atomic.Bool
	at := room(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if down.Load() {
			w.WriteHeader(http.StatusBadGateway)
			return
		}
		h.ServeHTTP(w, r)
	}))
	do(t, ctx, chromedp.Navigate(at+"/"))
	if evaluate[bool](t, ctx, `!document.getElementById("lost").hidden`) {
		t.Fatal("lost from the start")
	}
	down.Store(true)
	evaluate[int64](t, ctx, `(() => { const real = Date.now; Date.now = () => real() + 60000; return 1 })(), `+renewNow)
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS(`#lost`)))
}

// The page must work where no script runs: it renews itself whole.
func TestPageRenewsItselfWithoutAScript(t *testing.T) {
	n := get(t, serve(invented()), "/", http.StatusOK)
	if got := len(find(n, "head noscript")); got != 1 {
		t.Fatalf("%d noscript parts in the head", got)
	}
	w := ask(serve(invented()), httptest.NewRequest(http.MethodGet, "/vessel/C04", nil))
	if got := len(find(get(t, serve(invented()), "/vessel/C04", w.Code), "head noscript")); got != 0 {
		t.Error("the page of a vessel is torn away from who reads it")
	}
}
