package webhook

import (
	"errors"
	"net"
	"net/netip"
	"strings"
	"syscall"
)

// errPrivate: the receiver's address is not one of the open Internet.
var errPrivate = errors.New("address is private or on this machine, which is not allowed for this phone")

// closed lists the networks no call goes to unless it is allowed, besides
// those that [netip.Addr] knows by itself. From the IANA special-purpose
// address registries (RFC 6890 and its successors), from memory.
var closed = prefixes(
	"0.0.0.0/8",       // this network
	"100.64.0.0/10",   // shared by a provider's customers
	"192.0.0.0/24",    // protocol assignments
	"192.0.2.0/24",    // documentation
	"198.18.0.0/15",   // benchmarks
	"198.51.100.0/24", // documentation
	"203.0.113.0/24",  // documentation
	"240.0.0.0/4",     // reserved, and broadcast
	"::/96",           // IPv4 in IPv6, the old way
	"64:ff9b::/96",    // IPv4 behind a translator
	"64:ff9b:1::/48",  // the same, local
	"100::/64",        // discarded
	"2001::/32",       // IPv4 in a tunnel
	"2001:db8::/32",   // documentation
	"2002::/16",       // IPv4 in a tunnel
	"fec0::/10",       // site-local, the old way
)

func prefixes(texts ...string) []netip.Prefix {
	var ps []netip.Prefix
	for _, t := range texts {
		ps = append(ps, netip.MustParsePrefix(t))
	}
	return ps
}

// open reports whether a is an address of the open Internet.
func open(a netip.Addr) bool {
	a = a.Unmap().WithZone("")
	if !a.IsGlobalUnicast() || a.IsPrivate() {
		return false // loopback, link-local, multicast, unspecified, private
	}
	for _, p := range closed {
		if p.Contains(a) {
			return false
		}
	}
	return true
}

// onlyOpen refuses to dial an address that is not open. It is called with
// what the name resolved to, just before the connection is made, so that a
// name which answers differently the second time gains nothing.
func onlyOpen(_, address string, _ syscall.RawConn) error {
	a, err := netip.ParseAddrPort(address)
	if err != nil || !open(a.Addr()) {
		return errPrivate
	}
	return nil
}

// literal reports whether host is written as an address, or as the name of
// this machine, that is not open: no name server will ever say otherwise.
func literal(host string) bool {
	if h := strings.ToLower(strings.TrimSuffix(host, ".")); h == "localhost" || strings.HasSuffix(h, ".localhost") {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && !open(a)
}

// dialer connects only to open addresses unless private ones are allowed.
func dialer(allowPrivate bool) *net.Dialer {
	d := &net.Dialer{}
	if !allowPrivate {
		d.Control = onlyOpen
	}
	return d
}
