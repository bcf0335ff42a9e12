package webhook

import (
	"bufio"
	"context"
	"crypto/x509"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

var contains = strings.Contains

func call() alerts.Call {
	return alerts.Call{ID: "call_0123", Room: "room", Kind: alerts.KindRaised, Alarms: []string{"a1"}, Text: "C07: air stopped <now>",
		Body: "longer", Link: "https://shelf.example/a", Vessel: "C07", Lot: "L23", Class: "airflow", Prio: alerts.High,
		Decided: time.Date(2025, 11, 24, 1, 15, 0, 0, time.UTC), Queued: time.Date(2025, 11, 24, 1, 15, 2, 0, time.UTC), Attempts: 2}
}

// phone points at a server on this machine, which needs AllowPrivate.
func phone(url string) Phone { return Phone{Name: "night", URL: url, AllowPrivate: true} }

func serve(t *testing.T, h http.HandlerFunc) string {
	t.Helper()
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s.URL
}

func answer(status int, header, value, body string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		if header != "" {
			w.Header().Set(header, value)
		}
		w.WriteHeader(status)
		_, _ = io.WriteString(w, body)
	}
}

// What a receiver gets, checked as a receiver checks it.
func TestWhatIsSent(t *testing.T) {
	var got Payload
	var header http.Header
	key := secret(t, testSecret)
	url := serve(t, func(_ http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil || r.Method != http.MethodPost {
			t.Errorf("%s: %v", r.Method, err)
		}
		id, err := key.Verify(r.Header, body, time.Now())
		if err != nil || id != "call_0123" {
			t.Errorf("id %q: %v", id, err)
		}
		if err := json.Unmarshal(body, &got); err != nil {
			t.Error(err)
		}
		header = r.Header
	})
	p := phone(url)
	p.Secret, p.Headers = key, map[string]string{"Authorization": "Bearer abc"}
	if r := Send(t.Context(), p, call()); r.Verdict != Delivered || r.Status != 200 || r.Reason != ReasonDelivered {
		t.Fatalf("%+v", r)
	}
	if got.Type != "alarm.raised" || !got.Timestamp.Equal(call().Decided) || got.Data.Text != call().Text || got.Data.Vessel != "C07" ||
		got.Data.Attempt != 3 || got.Data.Priority != "high" || got.Data.Link != call().Link {
		t.Errorf("%+v", got)
	}
	if header.Get("Content-Type") != "application/json" || header.Get("Authorization") != "Bearer abc" {
		t.Errorf("headers %v", header)
	}
}

func TestWithoutSecretNothingIsSigned(t *testing.T) {
	url := serve(t, func(_ http.ResponseWriter, r *http.Request) {
		if r.Header.Get(headerSignature) != "" || r.Header.Get(headerID) == "" || r.Header.Get(headerTimestamp) == "" {
			t.Errorf("headers %v", r.Header)
		}
	})
	if r := Send(t.Context(), phone(url), call()); r.Verdict != Delivered {
		t.Errorf("%+v", r)
	}
}

func result(v alerts.Verdict, after time.Duration, status int, reason, detail string) Result {
	return Result{Verdict: v, After: after, Status: status, Reason: reason, Detail: detail}
}

func TestAnswers(t *testing.T) {
	now := time.Date(2025, 11, 24, 1, 15, 0, 0, time.UTC)
	for _, c := range []struct {
		name string
		h    http.HandlerFunc
		want Result
	}{
		{"200 with rubbish", answer(200, "", "", "\x00\xff{error: true"), result(Delivered, 0, 200, ReasonDelivered, "answered 200 OK")},
		{"204", answer(204, "", "", ""), result(Delivered, 0, 204, ReasonDelivered, "answered 204 No Content")},
		{"410", answer(410, "Retry-After", "5", "bye"), result(Never, 0, 410, ReasonGone, "answered 410 Gone: bye")},
		{"404", answer(404, "", "", ""), result(Again, 0, 404, ReasonRefused, "answered 404 Not Found")},
		{"429, seconds", answer(429, "Retry-After", "120", "slow\n\n down"), result(Again, 2*time.Minute, 429, ReasonThrottled, "answered 429 Too Many Requests: slow down")},
		{"429, date", answer(429, "Retry-After", "Mon, 24 Nov 2025 01:20:00 GMT", ""), result(Again, 5*time.Minute, 429, ReasonThrottled, "answered 429 Too Many Requests")},
		{"500", answer(500, "", "", "ok"), result(Again, 0, 500, ReasonServer, "answered 500 Internal Server Error: ok")},
		{"503", answer(503, "Retry-After", "never", ""), result(Again, 0, 503, ReasonServer, "answered 503 Service Unavailable")},
	} {
		got := Sender{Now: func() time.Time { return now }}.Send(t.Context(), phone(serve(t, c.h)), call())
		if got != c.want {
			t.Errorf("%s:\ngot  %+v\nwant %+v", c.name, got, c.want)
		}
	}
}

func TestRedirectsAreNotFollowed(t *testing.T) {
	for status, want := range map[int]alerts.Verdict{301: Again, 302: Again, 307: Again, 308: Again} {
		elsewhere := serve(t, func(http.ResponseWriter, *http.Request) { t.Error("followed") })
		r := Send(t.Context(), phone(serve(t, answer(status, "Location", elsewhere, ""))), call())
		if r.Verdict != want || r.Reason != ReasonRedirect || r.Status != status {
			t.Errorf("%d: %+v", status, r)
		}
	}
}

func TestNeverAnswers(t *testing.T) {
	url := serve(t, func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body) // the server sees the end of the connection only after that
		<-r.Context().Done()
	})
	p := phone(url)
	p.Timeout = 20 * time.Millisecond
	if r := Send(t.Context(), p, call()); r.Verdict != Again || r.Reason != ReasonTimeout {
		t.Errorf("timeout: %+v", r)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if r := Send(ctx, phone(url), call()); r.Verdict != Again || r.Reason != ReasonCancelled {
		t.Errorf("cancelled: %+v", r)
	}
}

// raw answers each connection with those bytes and closes it.
func raw(t *testing.T, bytes string) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			if r, err := http.ReadRequest(bufio.NewReader(c)); err == nil {
				_, _ = io.Copy(io.Discard, r.Body)
			}
			_, _ = io.WriteString(c, bytes)
			_ = c.Close()
		}
	}()
	t.Cleanup(func() { _ = l.Close(); <-done })
	return "http://" + l.Addr().String()
}

func TestBrokenConnections(t *testing.T) {
	for _, c := range []struct {
		name, bytes string
		verdict     alerts.Verdict
		reason      string
	}{
		{"closes before it answers", "", Again, ReasonNetwork},
		{"closes within the headers", "HTTP/1.1 200 OK\r\nContent-", Again, ReasonNetwork},
		{"speaks no HTTP", "220 mail.example ready\r\n", Again, ReasonNetwork},
		{"closes within the body of a success", "HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf", Delivered, ReasonDelivered},
		{"closes within the body of a failure", "HTTP/1.1 500 No\r\nContent-Length: 100\r\n\r\nhalf", Again, ReasonServer},
		{"headers without end", "HTTP/1.1 200 OK\r\nX: " + strings.Repeat("x", 2*maxAnswerHeader) + "\r\n\r\n", Again, ReasonNetwork},
	} {
		r := Send(t.Context(), phone(raw(t, c.bytes)), call())
		if r.Verdict != c.verdict || r.Reason != c.reason {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
}

func TestNobodyListens(t *testing.T) {
	s := httptest.NewServer(http.NotFoundHandler())
	s.Close()
	r := Send(t.Context(), phone(s.URL+"/hidden-token"), call())
	if r.Verdict != Again || r.Reason != ReasonNetwork || !contains(r.Detail, "refused") || contains(r.Detail, "hidden-token") {
		t.Errorf("%+v", r)
	}
}

// A body without end is read to its bound; that the handler's writes fail
// shows that the connection was closed under it.
func TestHugeBody(t *testing.T) {
	ended := make(chan struct{})
	url := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		defer close(ended)
		w.WriteHeader(500)
		for {
			if _, err := io.WriteString(w, strings.Repeat("all work and no play ", 1000)); err != nil {
				return
			}
		}
	})
	r := Send(t.Context(), phone(url), call())
	if r.Verdict != Again || len(r.Detail) > maxDetail+60 {
		t.Errorf("%d bytes of detail: %+v", len(r.Detail), r)
	}
	<-ended
}

func TestTLS(t *testing.T) {
	s := httptest.NewUnstartedServer(answer(200, "", "", ""))
	s.Config.ErrorLog = quiet()
	s.StartTLS()
	t.Cleanup(s.Close)
	if r := Send(t.Context(), phone(s.URL), call()); r.Verdict != Again || r.Reason != ReasonTLS {
		t.Errorf("unknown authority: %+v", r)
	}
	roots := x509.NewCertPool()
	roots.AddCert(s.Certificate())
	if r := (Sender{Roots: roots}).Send(t.Context(), phone(s.URL), call()); r.Verdict != Delivered {
		t.Errorf("known authority: %+v", r)
	}
	plain := serve(t, answer(200, "", "", ""))
	if r := Send(t.Context(), phone(strings.Replace(plain, "http:", "https:", 1)), call()); r.Verdict != Again || r.Reason != ReasonTLS {
		t.Errorf("no TLS there: %+v", r)
	}
}

func TestPrivateAddressIsRefused(t *testing.T) {
	url := serve(t, func(http.ResponseWriter, *http.Request) { t.Error("reached") })
	p := phone(url)
	p.AllowPrivate = false
	if r := Send(t.Context(), p, call()); r.Verdict != Never || r.Reason != ReasonAddress {
		t.Errorf("%+v", r)
	}
	port := url[strings.LastIndex(url, ":"):]
	for _, host := range []string{"localhost", "[::1]", "[::ffff:127.0.0.1]", "127.0.0.1", "169.254.169.254"} {
		p.URL = "http://" + host + port
		if r := Send(t.Context(), p, call()); r.Verdict != Never || r.Reason != ReasonAddress {
			t.Errorf("%s: %+v", host, r)
		}
	}
}

// The dial itself refuses, so that a name that resolves to a private address
// only at the second look gains nothing: here the check of the literal
// address is left out.
func TestPrivateAddressIsRefusedAtTheDial(t *testing.T) {
	url := serve(t, func(http.ResponseWriter, *http.Request) { t.Error("reached") })
	request, err := Sender{}.request(t.Context(), phone(url), call())
	if err != nil {
		t.Fatal(err)
	}
	_, err = Sender{}.client(false).Do(request)
	if err == nil {
		t.Fatal("the connection was made")
	}
	if r := trouble(t.Context(), err); r.Verdict != Again || r.Reason != ReasonAddress || contains(r.Detail, "127.0.0.1") {
		t.Errorf("%+v", r)
	}
}

func TestBadCalls(t *testing.T) {
	url := serve(t, func(http.ResponseWriter, *http.Request) { t.Error("sent") })
	for _, id := range []string{"", "a.b", "a b", "a\nb", "ä"} {
		c := call()
		c.ID = id
		if r := Send(t.Context(), phone(url), c); r.Verdict != Never || r.Reason != ReasonBody {
			t.Errorf("id %q: %+v", id, r)
		}
	}
	if r := Send(t.Context(), phone("no address with a token"), call()); r.Verdict != Never || r.Reason != ReasonSetup || contains(r.Detail, "token") {
		t.Errorf("%+v", r)
	}
}
