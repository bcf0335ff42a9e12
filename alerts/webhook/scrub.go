package webhook

import (
	"encoding/base64"
	"encoding/json"
	"io"
	"net/url"
	"slices"
	"strings"
	"unicode"
)

const (
	maxAnswer = 4096 // bytes of an answer that are read
	maxDetail = 200  // characters of it that are kept
	hidden    = "[hidden]"
)

// scrubber takes the secrets of one phone out of texts.
type scrubber struct{ secrets []string }

// newScrubber collects what a receiver could quote back: whatever follows the
// host in the URL, its user and password, the values of the headers, the
// signing secret.
func newScrubber(p Phone, u *url.URL) scrubber {
	var s scrubber
	s.add(u.String(), u.RequestURI(), u.RawQuery, u.Fragment)
	s.add(strings.Split(u.Path, "/")...)
	s.add(strings.Split(u.EscapedPath(), "/")...)
	for _, pair := range strings.Split(u.RawQuery, "&") {
		_, value, _ := strings.Cut(pair, "=")
		s.add(value)
		if plain, err := url.QueryUnescape(value); err == nil {
			s.add(plain)
		}
	}
	if u.User != nil {
		password, _ := u.User.Password()
		s.add(u.User.Username(), password, u.User.String(),
			base64.StdEncoding.EncodeToString([]byte(u.User.Username()+":"+password)))
	}
	for _, value := range p.Headers {
		s.add(value)
		s.add(strings.Fields(value)...) // the token after "Bearer"
	}
	if !p.Secret.IsZero() {
		s.add(base64.StdEncoding.EncodeToString(p.Secret.key), string(p.Secret.key))
	}
	// The longest first: a part of a secret must not break up the whole.
	slices.SortFunc(s.secrets, func(a, b string) int { return len(b) - len(a) })
	return s
}

// add notes texts, and each as JSON and as a URL would write it. What is
// shorter than four bytes is no secret, and hiding it would blot out words.
func (s *scrubber) add(texts ...string) {
	for _, t := range texts {
		if len(t) < 4 {
			continue
		}
		forms := []string{t, clean(t), url.QueryEscape(t), url.PathEscape(t), strings.ReplaceAll(t, "/", `\/`)}
		if coded, err := json.Marshal(t); err == nil {
			forms = append(forms, strings.Trim(string(coded), `"`))
		}
		for _, f := range forms {
			if len(f) >= 4 && !slices.Contains(s.secrets, f) {
				s.secrets = append(s.secrets, f)
			}
		}
	}
}

// answer reads the beginning of what a receiver says and makes one clean line
// of it. Errors while reading are no matter: the status has come already.
func (s scrubber) answer(r io.Reader) string {
	b, _ := io.ReadAll(io.LimitReader(r, maxAnswer))
	if len(b) == maxAnswer && len(s.secrets) > 0 {
		// A secret that was cut in half would not be found.
		b = b[:max(0, len(b)-len(s.secrets[0]))]
	}
	text := s.hide(clean(string(b)))
	if runes := []rune(text); len(runes) > maxDetail {
		text = string(runes[:maxDetail]) + "..."
	}
	return text
}

func (s scrubber) hide(text string) string {
	for _, secret := range s.secrets {
		text = strings.ReplaceAll(text, secret, hidden)
	}
	return text
}

// clean makes one line of valid text without control characters.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}
