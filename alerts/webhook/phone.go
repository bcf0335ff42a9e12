// Package webhook makes one attempt at delivering a call: an HTTP POST signed
// after Standard Webhooks 1.0.0, and a verdict: delivered, again, or never.
//
// Addresses, headers and secrets of a receiver are never part of an error, a
// detail or a log line: a push service's URL often is its password.
package webhook

import (
	"errors"
	"fmt"
	"net/url"
	"strings"
	"text/template"
	"time"
)

// DefaultTimeout is how long an attempt may take where a Phone says nothing:
// Standard Webhooks 1.0.0 recommends 15 to 30 s.
const DefaultTimeout = 20 * time.Second

// Phone is a receiver of calls. It prints as its name alone.
type Phone struct {
	Name         string
	URL          string            // http or https, absolute
	Secret       Secret            // signs; the zero Secret leaves the signature out
	Headers      map[string]string // sent along, such as an authorization
	AllowPrivate bool              // whether it may be in a private network or on this machine
	Timeout      time.Duration     // of one attempt; zero is DefaultTimeout
	Body         *template.Template
}

// String returns the name only, so that a log line gives nothing away.
func (p Phone) String() string { return p.Name }

// GoString is String, for %#v.
func (p Phone) GoString() string { return fmt.Sprintf("phone %q", p.Name) }

// MarshalText is String, for JSON and structured logs.
func (p Phone) MarshalText() ([]byte, error) { return []byte(p.Name), nil }

// reserved are the headers that a Phone may not set: the ones that are signed
// and the ones that the connection itself needs.
var reserved = []string{headerID, headerTimestamp, headerSignature,
	"host", "content-length", "transfer-encoding", "connection", "upgrade", "trailer", "te"}

// Check reports what is wrong with p before anything is sent. The error names
// the phone and the fault, and quotes neither address nor header values.
func (p Phone) Check() error {
	if _, err := p.address(); err != nil {
		return fmt.Errorf("phone %q: %w", p.Name, err)
	}
	for name, value := range p.Headers {
		if !headerName(name) {
			return fmt.Errorf("phone %q: header %q is no header name", p.Name, name)
		}
		if !headerValue(value) {
			return fmt.Errorf("phone %q: header %q has a value with characters no header may hold", p.Name, name)
		}
		for _, r := range reserved {
			if strings.EqualFold(name, r) {
				return fmt.Errorf("phone %q: header %q cannot be set", p.Name, name)
			}
		}
	}
	if p.Timeout < 0 {
		return fmt.Errorf("phone %q: timeout %v is below zero", p.Name, p.Timeout)
	}
	return nil
}

// headerName reports whether s is a token (RFC 9110, 5.6.2, from memory).
func headerName(s string) bool {
	for _, r := range s {
		letter := 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9'
		if !letter && !strings.ContainsRune("!#$%&'*+-.^_`|~", r) {
			return false
		}
	}
	return s != ""
}

// headerValue reports whether s holds no control character but a tab.
func headerValue(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' && r != '\t' || r == 0x7f })
}

// address reads the URL. net/url quotes the whole of it in its errors, so
// they are replaced.
func (p Phone) address() (*url.URL, error) {
	u, err := url.Parse(p.URL)
	switch {
	case err != nil:
		return nil, errors.New("url cannot be read")
	case u.Scheme != "http" && u.Scheme != "https":
		return nil, errors.New("url must begin with https:// or http://")
	case u.Hostname() == "":
		return nil, errors.New("url names no host")
	}
	return u, nil
}

func (p Phone) timeout() time.Duration {
	if p.Timeout > 0 {
		return p.Timeout
	}
	return DefaultTimeout
}
