package webhook

import (
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// 2xx only is success, 410 is the end, everything else is tried again
// (Standard Webhooks 1.0.0, delivery success and failure).
func TestJudge(t *testing.T) {
	want := map[int]alerts.Verdict{410: Never, 301: Again, 308: Again, 302: Again, 303: Again, 304: Again, 307: Again, 408: Again, 425: Again, 429: Again,
		409: Again, 402: Again, 418: Again}
	for _, s := range []int{400, 401, 403, 404, 405, 413, 415, 422} {
		want[s] = Again
	}
	for s := 200; s < 300; s++ {
		want[s] = Delivered
	}
	for s := 500; s < 600; s++ {
		want[s] = Again
	}
	for status, w := range want {
		if got, reason := judge(status); got != w || !slices.Contains(Reasons, reason) {
			t.Errorf("%d: %s, %q; want %s", status, got, reason, w)
		}
	}
	for status := range 1000 {
		if got, reason := judge(status); got == "" || reason == "" || got == Delivered && (status < 200 || status > 299) {
			t.Errorf("%d: %s, %q", status, got, reason)
		}
	}
}

// The three date forms are those of RFC 9110, 5.6.7: IMF-fixdate, the obsolete
// RFC 850 form and the obsolete asctime form; the example is the standard's.
func TestRetryAfter(t *testing.T) {
	now := time.Date(1994, 11, 6, 8, 47, 37, 0, time.UTC)
	for value, want := range map[string]time.Duration{
		"": 0, "120": 2 * time.Minute, " 7 ": 7 * time.Second, "0": 0, "-5": 0, "+5": 0, "1.5": 0, "soon": 0,
		"3599": 3599 * time.Second, "3600": time.Hour, "3601": time.Hour, "99999999999999999999999": time.Hour, "9223372036": time.Hour,
		"Sun, 06 Nov 1994 08:49:37 GMT":    2 * time.Minute,
		"Sunday, 06-Nov-94 08:49:37 GMT":   2 * time.Minute,
		"Sun Nov  6 08:49:37 1994":         2 * time.Minute,
		"Sun, 06 Nov 1994 08:47:37 GMT":    0,
		"Sun, 06 Nov 1994 08:00:00 GMT":    0,
		"Sun, 06 Nov 2094 08:49:37 GMT":    time.Hour,
		"Sun, 06 Nov 1994 08:49:37 +01:00": 0,
	} {
		if got := retryAfter(value, now); got != want {
			t.Errorf("%q: %v, want %v", value, got, want)
		}
	}
}

func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name string
		p    Phone
		ok   bool
	}{
		{"https", Phone{URL: "https://push.example/x"}, true},
		{"no scheme", Phone{URL: "push.example/token"}, false},
		{"ftp", Phone{URL: "ftp://push.example/token"}, false},
		{"no host", Phone{URL: "https:///token"}, false},
		{"unreadable", Phone{URL: "https://push.example/token%zz"}, false},
		{"header", Phone{URL: "https://push.example", Headers: map[string]string{"X-Title": "Nightshelf"}}, true},
		{"no header name", Phone{URL: "https://push.example", Headers: map[string]string{"X Title": "a"}}, false},
		{"no name at all", Phone{URL: "https://push.example", Headers: map[string]string{"": "a"}}, false},
		{"broken value", Phone{URL: "https://push.example", Headers: map[string]string{"X-Title": "token\r\nHost: x"}}, false},
		{"signed header", Phone{URL: "https://push.example", Headers: map[string]string{"Webhook-ID": "token"}}, false},
		{"host header", Phone{URL: "https://push.example", Headers: map[string]string{http.CanonicalHeaderKey("host"): "token"}}, false},
		{"timeout", Phone{URL: "https://push.example", Timeout: -1}, false},
	} {
		c.p.Name = "night"
		err := c.p.Check()
		if (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
		}
		if err != nil && (contains(err.Error(), "token") || contains(err.Error(), "push.example") || !contains(err.Error(), `"night"`)) {
			t.Errorf("%s: the error names no phone, or gives something away: %v", c.name, err)
		}
	}
}
