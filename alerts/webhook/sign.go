package webhook

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// The headers of Standard Webhooks 1.0.0.
const (
	headerID        = "webhook-id"
	headerTimestamp = "webhook-timestamp"
	headerSignature = "webhook-signature"
)

const secretPrefix = "whsec_"

// Secret is the key shared with a receiver. It never prints.
type Secret struct{ key []byte }

// String hides the secret.
func (s Secret) String() string {
	if s.IsZero() {
		return "no secret"
	}
	return "[secret]"
}

// GoString hides the secret.
func (s Secret) GoString() string { return s.String() }

// MarshalText hides the secret.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// IsZero reports whether there is no secret.
func (s Secret) IsZero() bool { return len(s.key) == 0 }

// ParseSecret reads "whsec_" and 24 to 64 bytes in base64 (Standard Webhooks
// 1.0.0, signature scheme). Its errors do not quote the input.
func ParseSecret(text string) (Secret, error) {
	coded, ok := strings.CutPrefix(strings.TrimSpace(text), secretPrefix)
	if !ok {
		return Secret{}, fmt.Errorf("secret does not begin with %q", secretPrefix)
	}
	key, err := base64.StdEncoding.DecodeString(coded)
	if err != nil {
		return Secret{}, errors.New("secret is not base64 after " + secretPrefix)
	}
	if len(key) < 24 || len(key) > 64 {
		return Secret{}, fmt.Errorf("secret has %d bytes, not 24 to 64", len(key))
	}
	return Secret{key: key}, nil
}

// sign returns the item of the signature header for a body sent at that time
// under that id: "v1," and the base64 of the HMAC-SHA256 of
// id + "." + timestamp + "." + body.
func (s Secret) sign(id string, at time.Time, body []byte) string {
	head := []byte(id + "." + strconv.FormatInt(at.Unix(), 10) + ".")
	return "v1," + base64.StdEncoding.EncodeToString(s.digest(head, body))
}

// digest is the HMAC-SHA256 (RFC 2104) of parts, one after the other.
func (s Secret) digest(parts ...[]byte) []byte {
	h := hmac.New(sha256.New, s.key)
	for _, p := range parts {
		h.Write(p)
	}
	return h.Sum(nil)
}
