package config

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
)

// sentence is an error whose text goes on from the name of a key.
func sentence(format string, args ...any) error { return fmt.Errorf(format, args...) }

// address returns what reads host:port; example stands in its errors.
func address(example string) func(string) (string, error) {
	return func(s string) (string, error) {
		host, port, err := net.SplitHostPort(s)
		if err != nil || strings.ContainsAny(host, " /@") {
			return "", sentence("must be an address and a port such as %s, not %s", example, quoted(s))
		}
		if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
			return "", sentence("must have a port from 0 to 65535, not %s", quoted(s))
		}
		return s, nil
	}
}

// loopback reports whether host:port is reached from this machine only.
func loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	return err == nil && isLoopback(host)
}

// webURL reads an http or https address.
func webURL(s string) (*url.URL, error) {
	u, err := url.Parse(s)
	switch {
	case err != nil || u.Scheme == "" || u.Opaque != "":
		return nil, sentence("must be an address such as https://shelf.example, not %s", quoted(ShownURL(s)))
	case u.Scheme != "http" && u.Scheme != "https":
		return nil, sentence("must begin with https:// or http://, not %s", quoted(u.Scheme+"://"))
	case u.Hostname() == "":
		return nil, sentence("names no host: %s", quoted(ShownURL(s)))
	case u.User != nil:
		return nil, sentence("must not hold a name or password (before the @ of %s); put it into a header from a file", quoted(u.Host))
	}
	return u, goodPort(u)
}

// goodPort checks the port of u, if it has one.
func goodPort(u *url.URL) error {
	if p := u.Port(); p != "" {
		if n, err := strconv.Atoi(p); err != nil || n < 1 || n > 65535 {
			return sentence("must have a port from 1 to 65535, not %s", quoted(u.Host))
		}
	}
	return nil
}

// ShownURL is address as it may be shown: with scheme and host, but without
// names, passwords, path and query, any of which may be a secret.
func ShownURL(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" {
		if scheme, _, ok := strings.Cut(address, "://"); ok {
			return scheme + "://…"
		}
		if strings.Contains(address, "@") {
			return "…"
		}
		return address
	}
	shown := u.Scheme + "://" + u.Host
	if len(u.Path) > 1 || u.RawQuery != "" || u.Fragment != "" {
		shown += "/…"
	}
	return shown
}

// private reports whether host is an address that only means something inside
// a house: loopback, private, link-local or shared space (RFC 1918, 4193,
// 3927, 6598), or none at all.
func private(host string) bool {
	host = strings.ToLower(strings.TrimSuffix(host, "."))
	if host == "localhost" || strings.HasSuffix(host, ".localhost") {
		return true
	}
	a, err := netip.ParseAddr(host)
	if err != nil {
		return false
	}
	a = a.Unmap()
	return a.IsLoopback() || a.IsPrivate() || a.IsLinkLocalUnicast() || a.IsUnspecified() || a.IsMulticast() ||
		netip.MustParsePrefix("100.64.0.0/10").Contains(a)
}
