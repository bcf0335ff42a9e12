package main

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strings"

	"github.com/nightshelf/nightshelf/cmd/internal/label"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// labelOf is what the label of a vessel says: of the lot it holds, or of the
// medium that stands in it.
func labelOf(book *logbook.Book, vessel string) label.Label {
	v := book.Vessel(vessel)
	if l, ok := book.Lot(v.Lot); ok {
		return lotLabel(l, v.FilledL)
	}
	return label.Label{Vessel: vessel, Medium: v.Water.Medium, Filled: v.Water.Filled, VolumeL: v.FilledL}
}

// lotLabel is the label of a lot, with so many litres in its vessel, 0 unknown.
func lotLabel(l logbook.Lot, litres float64) label.Label {
	return label.Label{Vessel: l.Vessel, Lot: l.Name, Strain: l.Strain, Medium: l.Medium, Donor: l.Donor,
		Generation: l.Generation, Inoculated: l.Inoculated, VolumeL: litres}
}

// earlierLot is the label of a lot that a vessel holds or held.
func earlierLot(book *logbook.Book, vessel, lot string) (label.Label, error) {
	var others []string
	for _, l := range book.Lots() {
		switch {
		case l.Vessel != vessel:
		case l.Name == lot:
			return lotLabel(l, l.StartL), nil
		default:
			others = append(others, fmt.Sprintf("%q", l.Name))
		}
	}
	if len(others) == 0 {
		return label.Label{}, fmt.Errorf("vessel %q never held a lot", vessel)
	}
	newest := others[max(0, len(others)-5):]
	return label.Label{}, fmt.Errorf("vessel %q never held a lot named %q; the newest were %s", vessel, lot, strings.Join(newest, ", "))
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
