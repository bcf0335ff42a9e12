package webhook

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// maxAnswerHeader bounds the headers of an answer, in bytes.
const maxAnswerHeader = 32 << 10

// Sender makes attempts. The zero Sender is ready to use.
type Sender struct {
	Roots *x509.CertPool   // who may sign a receiver's certificate; nil: whom the system trusts
	Now   func() time.Time // nil is time.Now
}

// Send makes one attempt with the zero [Sender].
func Send(ctx context.Context, p Phone, c alerts.Call) Result { return Sender{}.Send(ctx, p, c) }

// Send makes one attempt at delivering c to p and waits for it to end, at
// most p's timeout. It follows no redirect, uses no proxy and no connection
// of an earlier attempt. The id of c is the idempotency key: the same for
// every attempt.
func (s Sender) Send(ctx context.Context, p Phone, c alerts.Call) Result {
	ctx, cancel := context.WithTimeout(ctx, p.timeout())
	defer cancel()
	if err := p.Check(); err != nil {
		return Result{Verdict: Never, Reason: ReasonSetup, Detail: err.Error()}
	}
	u, _ := p.address() // checked
	if !p.AllowPrivate && literal(u.Hostname()) {
		return Result{Verdict: Never, Reason: ReasonAddress, Detail: errPrivate.Error()}
	}
	scrub := newScrubber(p, u)
	request, err := s.request(ctx, p, c)
	if err != nil {
		return Result{Verdict: Never, Reason: ReasonBody, Detail: scrub.hide(clean(err.Error()))}
	}
	client := s.client(p.AllowPrivate)
	defer client.CloseIdleConnections()
	response, err := client.Do(request)
	if err != nil {
		return trouble(ctx, err)
	}
	defer response.Body.Close()
	return s.read(response, scrub)
}

// request makes the signed request.
func (s Sender) request(ctx context.Context, p Phone, c alerts.Call) (*http.Request, error) {
	if c.ID == "" || strings.Trim(c.ID, idCharacters) != "" {
		return nil, fmt.Errorf("id %q of the call cannot be sent", c.ID)
	}
	body, kind, err := encode(p.Body, c)
	if err != nil {
		return nil, err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, p.URL, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("request for phone %q cannot be made", p.Name) // the cause would quote the URL
	}
	r.GetBody = nil // the transport must not send it a second time by itself
	r.Header.Set("Content-Type", kind)
	r.Header.Set("User-Agent", "nightshelf")
	for name, value := range p.Headers {
		r.Header.Set(name, value)
	}
	now := s.now()
	r.Header.Set(headerID, c.ID)
	r.Header.Set(headerTimestamp, strconv.FormatInt(now.Unix(), 10))
	if !p.Secret.IsZero() {
		r.Header.Set(headerSignature, p.Secret.sign(c.ID, now, body))
	}
	return r, nil
}

// idCharacters are those an id may have: no dot, which parts what is signed,
// and nothing that a header cannot hold.
const idCharacters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_-"

// client is made for one attempt: attempts are rare, and a connection that
// went stale in the night must not cost one of them.
func (s Sender) client(allowPrivate bool) *http.Client {
	return &http.Client{
		Transport: &http.Transport{
			DialContext:            dialer(allowPrivate).DialContext,
			TLSClientConfig:        &tls.Config{RootCAs: s.Roots, MinVersion: tls.VersionTLS12},
			ForceAttemptHTTP2:      true,
			DisableKeepAlives:      true,
			MaxResponseHeaderBytes: maxAnswerHeader,
			Proxy:                  nil, // a proxy would resolve names behind our back
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// read makes the result of an answer. Of a success only the status counts:
// its body is not even read, so that a slow one delays nothing.
func (s Sender) read(response *http.Response, scrub scrubber) Result {
	r := Result{Status: response.StatusCode}
	r.Verdict, r.Reason = judge(r.Status)
	r.Detail = "answered " + strconv.Itoa(r.Status)
	if text := http.StatusText(r.Status); text != "" {
		r.Detail += " " + text
	}
	if r.Verdict == Delivered {
		return r
	}
	if r.Verdict == Again {
		r.After = retryAfter(response.Header.Get("Retry-After"), s.now())
	}
	if said := scrub.answer(response.Body); said != "" {
		r.Detail += ": " + said
	}
	return r
}

func (s Sender) now() time.Time {
	if s.Now == nil {
		return time.Now()
	}
	return s.Now()
}
