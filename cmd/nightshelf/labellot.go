package main

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strings"

	"github.com/nightshelf/nightshelf/config"
)

// pageAddress returns where a phone reaches the room's pages, or why it cannot.
func pageAddress(room *config.Config) (base, why string) {
	base = room.PublicURL
	if base == "" {
		base = "http://" + room.Listen
	}
	u, err := url.Parse(base)
	switch {
	case err != nil || u.Hostname() == "" || !elsewhere(u.Hostname()):
		return "", fmt.Sprintf("a phone cannot reach %s", base)
	case u.Port() == "0":
		return "", fmt.Sprintf("the page at %s takes another port at each start", net.JoinHostPort(u.Hostname(), "0"))
	}
	return base, ""
}

// elsewhere reports whether host means this machine also to another one.
func elsewhere(host string) bool {
	host = strings.ToLower(strings.TrimSuffix(host, "."))
	if host == "localhost" || strings.HasSuffix(host, ".localhost") {
		return false
	}
	a, err := netip.ParseAddr(host)
	return err != nil || !a.Unmap().IsLoopback() && !a.IsUnspecified()
}
