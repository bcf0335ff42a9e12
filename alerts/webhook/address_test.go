package webhook

import (
	"net/netip"
	"testing"
)

// Addresses of the IANA special-purpose registries (from memory) and public
// resolvers for the open ones.
func TestOpen(t *testing.T) {
	for text, want := range map[string]bool{
		"9.9.9.9": true, "1.1.1.1": true, "2620:fe::fe": true, "172.32.0.1": true, "100.128.0.1": true, "::ffff:9.9.9.9": true,
		"127.0.0.1": false, "127.8.8.8": false, "::1": false, "10.1.2.3": false, "172.16.0.1": false, "172.31.255.255": false,
		"192.168.1.1": false, "fd00::1": false, "fe80::1": false, "fe80::1%eth0": false, "169.254.169.254": false, "0.0.0.0": false,
		"0.1.2.3": false, "::": false, "255.255.255.255": false, "240.0.0.1": false, "224.0.0.1": false, "ff02::1": false,
		"100.64.0.1": false, "198.18.0.1": false, "::ffff:10.0.0.1": false, "::ffff:100.64.0.1": false, "::ffff:127.0.0.1": false, "::ffff:169.254.169.254": false,
		"::127.0.0.1": false, "64:ff9b::7f00:1": false, "2002:7f00:1::": false, "2001:0:1::": false, "2001:db8::1": false, "fec0::1": false,
	} {
		if got := open(netip.MustParseAddr(text)); got != want {
			t.Errorf("%s: open %v, want %v", text, got, want)
		}
	}
}

func TestOnlyOpenRefusesWhatItCannotRead(t *testing.T) {
	for address, ok := range map[string]bool{"9.9.9.9:443": true, "[2620:fe::fe]:443": true, "[::ffff:127.0.0.1]:80": false,
		"127.0.0.1:80": false, "[fe80::1%eth0]:80": false, "name:80": false, "": false} {
		if err := onlyOpen("tcp", address, nil); (err == nil) != ok {
			t.Errorf("%q: %v", address, err)
		}
	}
}

func TestLiteral(t *testing.T) {
	for host, want := range map[string]bool{"localhost": true, "LOCALHOST.": true, "a.localhost": true, "127.0.0.1": true, "::1": true,
		"9.9.9.9": false, "push.example": false, "localhost.example": false} {
		if got := literal(host); got != want {
			t.Errorf("%q: %v, want %v", host, got, want)
		}
	}
}
