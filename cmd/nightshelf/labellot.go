package main

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"slices"
	"strings"

	"github.com/nightshelf/nightshelf/cmd/internal/label"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
)

// lotOf reads off the entries of one vessel what its label says: of the lot it
// holds, or of the medium that stands in it.
func lotOf(entries []ingest.Entry, vessel string) label.Label {
	entries = slices.Clone(entries)
	slices.SortStableFunc(entries, func(a, b ingest.Entry) int { return a.At.Compare(b.At) })
	l := label.Label{Vessel: vessel}
	for _, e := range entries {
		volume, _ := e.Float("volume_l")
		switch lot := e.Str("lot"); {
		case e.Vessel != vessel:
		case e.Kind == ingest.Inoculate:
			generation, _ := e.Float("generation")
			l = label.Label{Vessel: vessel, Lot: lot, Strain: e.Str("strain"), Medium: e.Str("medium"), Donor: e.Str("donor"),
				Generation: int(min(max(generation, 0), 1e6)), Inoculated: e.At, VolumeL: volume}
		case e.Kind == ingest.Fill:
			l = label.Label{Vessel: vessel, Medium: e.Str("medium"), Filled: e.At, VolumeL: volume}
		case e.Kind == ingest.Dump, e.Kind == ingest.End && (lot == "" || lot == l.Lot) && !l.Standing():
			l = label.Label{Vessel: vessel}
		}
	}
	return l
}

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
