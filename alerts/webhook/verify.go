package webhook

import (
	"crypto/hmac"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// Tolerance is how far a call's timestamp may be from the receiver's clock:
// what the libraries of Standard Webhooks use.
const Tolerance = 5 * time.Minute

// ErrNotGenuine says that a delivery is not signed with this secret, or is not
// of now.
var ErrNotGenuine = errors.New("not signed with this secret, or not of now")

// Verify checks a delivery as its receiver should (Standard Webhooks 1.0.0):
// any of the listed signatures may be the one, compared in constant time, and
// the timestamp must be within Tolerance of now. It returns the id, by which a
// repeated delivery is known.
func (s Secret) Verify(h http.Header, body []byte, now time.Time) (id string, err error) {
	id = h.Get(headerID)
	seconds, err := strconv.ParseInt(h.Get(headerTimestamp), 10, 64)
	if err != nil || id == "" || s.IsZero() {
		return id, ErrNotGenuine
	}
	at := time.Unix(seconds, 0)
	if d := now.Sub(at); d > Tolerance || d < -Tolerance {
		return id, ErrNotGenuine
	}
	want := []byte(s.sign(id, at, body))
	for _, item := range strings.Fields(h.Get(headerSignature)) {
		if hmac.Equal([]byte(item), want) {
			return id, nil
		}
	}
	return id, ErrNotGenuine
}
