package webhook

import (
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"
)

const testSecret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"

func secret(t *testing.T, text string) Secret {
	t.Helper()
	s, err := ParseSecret(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The vector is that of the reference libraries of Standard Webhooks 1.0.0
// (standard-webhooks/standard-webhooks, libraries/go/webhook_test.go, signing
// test; the other languages hold the same).
func TestSignVector(t *testing.T) {
	const want = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
	got := secret(t, testSecret).sign("msg_p5jXN8AQM9LWM0D4loKWxJek", time.Unix(1614265330, 0), []byte(`{"test": 2432232314}`))
	if got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// RFC 4231, section 4, test cases 1 to 3 and 6 (inputs from memory).
func TestDigestVectors(t *testing.T) {
	for _, c := range []struct{ key, data, want string }{
		{strings.Repeat("\x0b", 20), "Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"},
		{"Jefe", "what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"},
		{strings.Repeat("\xaa", 20), strings.Repeat("\xdd", 50), "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"},
		{strings.Repeat("\xaa", 131), "Test Using Larger Than Block-Size Key - Hash Key First", "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"},
	} {
		if got := hex.EncodeToString(Secret{key: []byte(c.key)}.digest([]byte(c.data))); got != c.want {
			t.Errorf("%q: got %s, want %s", c.data, got, c.want)
		}
	}
}

func TestParseSecretBounds(t *testing.T) {
	coded := func(n int) string { return "whsec_" + base64.StdEncoding.EncodeToString(make([]byte, n)) }
	for text, ok := range map[string]bool{
		coded(23): false, coded(24): true, coded(64): true, coded(65): false, " " + coded(32) + "\n": true,
		"": false, "whsec_": false, "whsk_AAAA": false, "whsec_not-base64-not-base64-not-base64": false,
	} {
		s, err := ParseSecret(text)
		if (err == nil) != ok || s.IsZero() == ok {
			t.Errorf("%q: error %v", text, err)
		}
		if tail := strings.TrimPrefix(strings.TrimSpace(text), "whsec_"); err != nil && len(tail) > 8 && strings.Contains(err.Error(), tail[:8]) {
			t.Errorf("the error quotes the secret: %v", err)
		}
	}
}

func TestSecretsNeverPrint(t *testing.T) {
	p := Phone{Name: "night", URL: "https://push.example/token-in-the-path?auth=query-token",
		Secret: secret(t, testSecret), Headers: map[string]string{"Authorization": "Bearer header-token"}}
	coded, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	slog.New(slog.NewTextHandler(&log, nil)).Info("x", "phone", p, "secret", p.Secret)
	slog.New(slog.NewJSONHandler(&log, nil)).Info("x", "phone", p, "secret", p.Secret)
	for _, shown := range []string{fmt.Sprint(p), fmt.Sprintf("%+v %#v %s", p, p, p), fmt.Sprintf("%v %+v %#v", p.Secret, p.Secret, p.Secret), string(coded), log.String()} {
		for _, part := range []string{"token", "MfKQ9r8G", "push.example", string(p.Secret.key)} {
			if strings.Contains(shown, part) {
				t.Errorf("%q shows in %q", part, shown)
			}
		}
	}
}

func TestVerify(t *testing.T) {
	s, now, body := secret(t, testSecret), time.Unix(1614265330, 0), []byte("{}")
	header := func(id, at, sig string) http.Header {
		h := http.Header{}
		h.Set(headerID, id)
		h.Set(headerTimestamp, at)
		h.Set(headerSignature, sig)
		return h
	}
	good := s.sign("call_1", now, body)
	for _, c := range []struct {
		name string
		h    http.Header
		now  time.Time
		ok   bool
	}{
		{"good", header("call_1", "1614265330", good), now, true},
		{"one of several", header("call_1", "1614265330", "v1,AAAA v1a,BBBB "+good), now, true},
		{"at the tolerance", header("call_1", "1614265330", good), now.Add(Tolerance), true},
		{"past the tolerance", header("call_1", "1614265330", good), now.Add(Tolerance + time.Millisecond), false},
		{"ahead of the tolerance", header("call_1", "1614265330", good), now.Add(-Tolerance - time.Millisecond), false},
		{"another id", header("call_2", "1614265330", good), now, false},
		{"another time", header("call_1", "1614265331", good), now, false},
		{"no id", header("", "1614265330", good), now, false},
		{"no time", header("call_1", "", good), now, false},
		{"no signature", header("call_1", "1614265330", ""), now, false},
	} {
		if _, err := s.Verify(c.h, body, c.now); (err == nil) != c.ok || err != nil && !errors.Is(err, ErrNotGenuine) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if _, err := s.Verify(header("call_1", "1614265330", good), []byte("{ }"), now); err == nil {
		t.Error("another body passed")
	}
}
