package webhook

import (
	"context"
	"crypto/tls"
	"errors"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// Result is what an attempt met, see [alerts.Result].
type Result = alerts.Result

// The verdicts.
const (
	Delivered = alerts.Arrived
	Again     = alerts.Again
	Never     = alerts.Never
)

// The reasons, a closed set fit for a metric's label.
const (
	ReasonDelivered = "delivered"
	ReasonSetup     = "setup"     // the phone's own settings cannot work
	ReasonBody      = "body"      // the body could not be made
	ReasonAddress   = "address"   // the address is private and that is not allowed
	ReasonName      = "name"      // the host's name could not be resolved
	ReasonTLS       = "tls"       // no trusted connection
	ReasonTimeout   = "timeout"   // no answer in time
	ReasonNetwork   = "network"   // any other trouble with the connection
	ReasonCancelled = "cancelled" // this program gave up, it is stopping
	ReasonRedirect  = "redirect"  // 3xx
	ReasonRefused   = "refused"   // a 4xx that mostly wants a change of settings
	ReasonGone      = "gone"      // 410
	ReasonThrottled = "throttled" // 429
	ReasonServer    = "server"    // 5xx
	ReasonStatus    = "status"    // any other
)

// Reasons lists every reason.
var Reasons = []string{ReasonDelivered, ReasonSetup, ReasonBody, ReasonAddress, ReasonName, ReasonTLS, ReasonTimeout, ReasonNetwork,
	ReasonCancelled, ReasonRedirect, ReasonRefused, ReasonGone, ReasonThrottled, ReasonServer, ReasonStatus}

// MaxRetryAfter bounds how long a receiver can put a call off.
const MaxRetryAfter = time.Hour

// judge reads a status as Standard Webhooks 1.0.0 does (delivery success and
// failure): 2xx is success, 410 ends it, and everything else is tried again. A
// refusal that looks final often is not: a proxy that starts up answers 404, a
// sign-in page 401 or 301. The next phone is tried at once all the same, and a
// call expires after half a day.
func judge(status int) (alerts.Verdict, string) {
	switch status {
	case http.StatusGone:
		return Never, ReasonGone
	case http.StatusBadRequest, http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusMethodNotAllowed,
		http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType, http.StatusUnprocessableEntity:
		return Again, ReasonRefused
	case http.StatusTooManyRequests:
		return Again, ReasonThrottled
	case http.StatusRequestTimeout, http.StatusTooEarly:
		return Again, ReasonStatus
	}
	switch {
	case status >= 200 && status <= 299:
		return Delivered, ReasonDelivered
	case status >= 300 && status <= 399:
		return Again, ReasonRedirect
	case status >= 500:
		return Again, ReasonServer
	}
	return Again, ReasonStatus
}

// trouble reads an error of the connection. Its detail is written here and
// not taken from the error, which may quote the address.
func trouble(ctx context.Context, err error) Result {
	r := Result{Verdict: Again}
	var (
		name *net.DNSError
		slow interface{ Timeout() bool }
	)
	switch {
	case errors.Is(err, errPrivate):
		// The name resolved to a private address. That may be the sign-in page
		// of a network that is down for the moment, so it is worth another try.
		r.Reason, r.Detail = ReasonAddress, errPrivate.Error()
	case errors.Is(context.Cause(ctx), context.Canceled):
		r.Reason, r.Detail = ReasonCancelled, "given up, the program is stopping"
	case isTLS(err):
		r.Reason, r.Detail = ReasonTLS, "no trusted connection: "+tlsDetail(err)
	case errors.As(err, &name) && !name.IsTimeout:
		r.Reason, r.Detail = ReasonName, "name of the host could not be resolved"
	case errors.Is(err, context.DeadlineExceeded), errors.As(err, &slow) && slow.Timeout():
		r.Reason, r.Detail = ReasonTimeout, "no answer in time"
	default:
		r.Reason, r.Detail = ReasonNetwork, "connection failed: "+networkDetail(err)
	}
	return r
}

func isTLS(err error) bool {
	var (
		check  *tls.CertificateVerificationError
		record tls.RecordHeaderError
		alert  tls.AlertError
	)
	return errors.As(err, &check) || errors.As(err, &record) || errors.As(err, &alert) || strings.Contains(err.Error(), "tls: ") ||
		strings.Contains(err.Error(), "server gave HTTP response to HTTPS client")
}

func tlsDetail(err error) string {
	var check *tls.CertificateVerificationError
	if errors.As(err, &check) {
		return "certificate is not trusted, expired, or of another name"
	}
	return "handshake failed"
}

func networkDetail(err error) string {
	var op *net.OpError
	if errors.As(err, &op) && op.Err != nil {
		return op.Op + ": " + inner(op.Err) // without the addresses
	}
	return "the receiver ended it before it gave an answer that can be read"
}

// inner is the innermost error: a word of the system such as "connection refused".
func inner(err error) string {
	for {
		next := errors.Unwrap(err)
		if next == nil {
			return err.Error()
		}
		err = next
	}
}

// retryAfter reads a Retry-After header (RFC 9110, 10.2.3): seconds, or one
// of the three forms of an HTTP date; at most MaxRetryAfter, zero where it
// says nothing or cannot be read.
func retryAfter(value string, now time.Time) time.Duration {
	value = strings.TrimSpace(value)
	if value == "" {
		return 0
	}
	if strings.Trim(value, "0123456789") == "" {
		seconds, err := strconv.ParseInt(value, 10, 64)
		if err != nil || seconds > int64(MaxRetryAfter/time.Second) {
			return MaxRetryAfter // too large for an integer is still a number
		}
		return time.Duration(seconds) * time.Second
	}
	at, err := http.ParseTime(value)
	if err != nil {
		return 0
	}
	return min(MaxRetryAfter, max(0, at.Sub(now)))
}
