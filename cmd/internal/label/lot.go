package label

import (
	"fmt"
	"strings"

	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// Of is what the label of a vessel says: of the lot it holds, or of the
// medium that stands in it.
func Of(book *logbook.Book, vessel string) Label {
	v := book.Vessel(vessel)
	if l, ok := book.Lot(v.Lot); ok {
		return ofLot(l, v.FilledL)
	}
	return Label{Vessel: vessel, Medium: v.Water.Medium, Filled: v.Water.Filled, VolumeL: v.FilledL}
}

// ofLot is the label of a lot, with so many litres in its vessel, 0 unknown.
func ofLot(l logbook.Lot, litres float64) Label {
	return Label{Vessel: l.Vessel, Lot: l.Name, Strain: l.Strain, Medium: l.Medium, Donor: l.Donor,
		Generation: l.Generation, Inoculated: l.Inoculated, VolumeL: litres}
}

// OfLot is the label of a lot that a vessel holds or held.
func OfLot(book *logbook.Book, vessel, lot string) (Label, error) {
	var others []string
	for _, l := range book.Lots() {
		switch {
		case l.Vessel != vessel:
		case l.Name == lot:
			return ofLot(l, l.StartL), nil
		default:
			others = append(others, fmt.Sprintf("%q", l.Name))
		}
	}
	if len(others) == 0 {
		return Label{}, fmt.Errorf("vessel %q never held a lot", vessel)
	}
	newest := others[max(0, len(others)-5):]
	return Label{}, fmt.Errorf("vessel %q never held a lot named %q; the newest were %s", vessel, lot, strings.Join(newest, ", "))
}
