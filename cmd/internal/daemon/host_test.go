package daemon

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/nightshelf/nightshelf/config"
)

func TestOnlyItsOwnHosts(t *testing.T) {
	ok := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	for _, c := range []struct {
		host   string
		config config.Config
		want   int
	}{
		{"127.0.0.1:8470", config.Config{Listen: "127.0.0.1:8470"}, http.StatusNoContent},
		{"localhost:8470", config.Config{Listen: "127.0.0.1:8470"}, http.StatusNoContent},
		{"[::1]:8470", config.Config{Listen: "[::1]:8470"}, http.StatusNoContent},
		{"evil.example", config.Config{Listen: "127.0.0.1:8470"}, http.StatusMisdirectedRequest},
		{"127.0.0.1.evil.example", config.Config{Listen: "127.0.0.1:8470"}, http.StatusMisdirectedRequest},
		{"", config.Config{Listen: "127.0.0.1:8470"}, http.StatusMisdirectedRequest},
		{"shelf.example", config.Config{Listen: "127.0.0.1:8470", PublicURL: "https://shelf.example/night"}, http.StatusNoContent},
		{"anything", config.Config{Listen: "0.0.0.0:8470", BehindProxy: true}, http.StatusNoContent},
	} {
		r := httptest.NewRequest(http.MethodPost, "/", nil)
		r.Host = c.host
		w := httptest.NewRecorder()
		ownHost(&c.config, ok).ServeHTTP(w, r)
		if w.Code != c.want {
			t.Errorf("host %q: %d, want %d", c.host, w.Code, c.want)
		}
	}
}
