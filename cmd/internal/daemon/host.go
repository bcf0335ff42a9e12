package daemon

import (
	"net"
	"net/http"
	"net/url"
	"strings"

	"github.com/nightshelf/nightshelf/config"
)

// ownHost answers only requests that name this machine or the public address.
// A page elsewhere can point a name of its own at a loopback address; its
// requests then look as if they came from the page itself.
func ownHost(c *config.Config, next http.Handler) http.Handler {
	public := ""
	if u, err := url.Parse(c.PublicURL); err == nil {
		public = u.Hostname()
	}
	listen, _, _ := net.SplitHostPort(c.Listen) // config has checked it
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !c.BehindProxy && !isOwn(hostOf(r.Host), listen, public) {
			http.Error(w, "This page answers under its own address only.", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func hostOf(hostport string) string {
	if host, _, err := net.SplitHostPort(hostport); err == nil {
		return host
	}
	return strings.Trim(hostport, "[]")
}

func isOwn(host, listen, public string) bool {
	if ip := net.ParseIP(host); ip != nil && ip.IsLoopback() {
		return true
	}
	for _, own := range []string{"localhost", listen, public} {
		if own != "" && strings.EqualFold(host, own) {
			return true
		}
	}
	return false
}
