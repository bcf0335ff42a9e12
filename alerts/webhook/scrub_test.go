package webhook

import (
	"encoding/base64"
	"io"
	"log"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"unicode/utf8"
)

func quiet() *log.Logger { return log.New(io.Discard, "", 0) }

// A receiver that quotes the whole request back gives nothing away.
func TestAnEchoGivesNothingAway(t *testing.T) {
	address := serve(t, func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusForbidden)
		user, password, _ := r.BasicAuth()
		_, _ = io.WriteString(w, strings.Join([]string{r.URL.String(), r.Header.Get("X-Key"), r.Header.Get("Authorization"),
			user, password, r.URL.Query().Get("auth"), strings.ReplaceAll(r.Header.Get("X-Path"), "/", `\/`)}, " ; "))
	})
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	u.User = url.UserPassword("shelfuser", "userpass")
	u.Path, u.RawQuery = "/hooks/PATHTOKEN", "auth=query%2Btoken&b=c"
	p := phone(u.String())
	p.Headers = map[string]string{"X-Key": "keyvalue", "X-Path": "left/right"}
	p.Secret = secret(t, testSecret)
	r := Send(t.Context(), p, call())
	if r.Status != 403 || !contains(r.Detail, hidden) {
		t.Fatalf("nothing was echoed: %+v", r)
	}
	for _, s := range []string{"shelfuser", "userpass", "PATHTOKEN", "query+token", "query%2Btoken", "keyvalue", `left\/right`,
		base64.StdEncoding.EncodeToString([]byte("shelfuser:userpass"))} {
		if contains(r.Detail, s) {
			t.Errorf("%q shows in %q", s, r.Detail)
		}
	}
}

// A secret that the bound on an answer cuts in half is not shown by half.
func TestASecretAtTheBoundIsNotShown(t *testing.T) {
	const token = "0123456789abcdef0123456789abcdef"
	u, err := url.Parse("https://push.example/")
	if err != nil {
		t.Fatal(err)
	}
	s := newScrubber(Phone{Headers: map[string]string{"X-Key": token}}, u)
	for cutAt := 1; cutAt < len(token); cutAt++ {
		body := strings.Repeat(" ", maxAnswer-cutAt) + token
		if got := s.answer(strings.NewReader(body)); contains(got, token[:min(4, cutAt)]) && cutAt >= 4 {
			t.Errorf("cut after %d: %q", cutAt, got)
		}
	}
}

func TestAnswerIsCleanAndShort(t *testing.T) {
	s := scrubber{}
	got := s.answer(strings.NewReader("<b>\x1b[31mno\x00\xff\r\n" + strings.Repeat("ä", 3000)))
	if !strings.HasPrefix(got, "<b>[31mno ä") || !utf8.ValidString(got) || utf8.RuneCountInString(got) > maxDetail+3 {
		t.Errorf("%q", got)
	}
}
