package label

import (
	"strconv"
	"strings"
	"time"
)

// Label is what stands on one label. Texts may hold anything; empty ones, and
// zero numbers and times, are not known.
type Label struct {
	Room, Vessel, Lot, Strain, Medium, Donor string

	Generation int            // of the lot, counted from the stock culture; 0 not known
	Inoculated time.Time      // when the lot began
	Filled     time.Time      // when the vessel was filled; shown where it holds no lot
	Zone       *time.Location // of the times on the label; nil is UTC
	VolumeL    float64        // what is in the vessel, litres
	URL        string         // of the vessel's page, as a phone reaches it; empty: no code
}

// Standing reports whether the label is that of a vessel without a lot.
func (l Label) Standing() bool { return l.Lot == "" && l.Inoculated.IsZero() }

// stamp writes a time as a label has it: the month in letters, since 3/4 is
// another day on the other side of an ocean.
func (l Label) stamp(t time.Time) string {
	return t.In(l.zone()).Format("2 Jan 2006 15:04")
}

func (l Label) zone() *time.Location {
	if l.Zone == nil {
		return time.UTC
	}
	return l.Zone
}

// row is one line beside the code and its share of the height there.
type row struct {
	words
	share  float64
	bold   bool
	double bool // may take two lines
	spare  bool // left out where it would be too small to read
}

// The shares of the height beside the code.
const (
	shareVessel = 3
	shareStrain = 1.5
	shareLot    = 1.25
	shareOther  = 1.1
	shareRoom   = 0.9
)

// rows returns the lines beside the code and the one below that is as wide as
// the label.
func (l Label) rows() (beside []row, below words) {
	vessel := row{words: named("", l.Vessel, "vessel not named"), share: shareVessel, bold: true, double: true}
	room := row{words: words{name: plain(l.Room)}, share: shareRoom, spare: true}
	medium := row{words: l.medium(), share: shareOther}
	if l.Standing() {
		beside = []row{vessel, room, medium, {words: words{lead: "standing medium,"}, share: shareStrain, bold: true},
			{words: words{lead: l.filled() + ","}, share: shareStrain, bold: true}}
		return present(beside), words{lead: "not inoculated"}
	}
	below = words{lead: "inoculation not entered"}
	if !l.Inoculated.IsZero() {
		below.lead = l.stamp(l.Inoculated)
	}
	beside = []row{vessel,
		{words: named("", l.Strain, "strain not entered"), share: shareStrain, bold: true},
		{words: named("Lot ", l.Lot, "lot not named"), share: shareLot},
		medium, {words: l.descent(), share: shareOther}, room}
	return present(beside), below
}

// present returns the rows that say something.
func present(rows []row) []row {
	var out []row
	for _, r := range rows {
		if r.lead+r.name != "" {
			out = append(out, r)
		}
	}
	return out
}

// named is a name after its lead, or what is said where there is none.
func named(lead, name, otherwise string) words {
	if name = plain(name); name != "" {
		return words{lead, name}
	}
	return words{lead: otherwise}
}

func (l Label) filled() string {
	if l.Filled.IsZero() {
		return "filling not entered"
	}
	return "filled " + l.stamp(l.Filled)
}

// medium says what the culture stands in, and how much of it.
func (l Label) medium() words {
	if !(l.VolumeL > 0 && l.VolumeL < 1e6) { // also NaN
		return named("Medium ", l.Medium, "medium not entered")
	}
	litres := strconv.FormatFloat(l.VolumeL, 'g', 3, 64)
	if l.VolumeL >= 100 {
		litres = strconv.FormatFloat(l.VolumeL, 'f', 0, 64)
	}
	return named(litres+" L of ", l.Medium, litres+" L, medium not entered")
}

// descent says where the lot comes from.
func (l Label) descent() words {
	if l.Generation <= 0 {
		return named("Donor ", l.Donor, "donor not entered")
	}
	g := "Generation " + strconv.Itoa(l.Generation)
	return named(g+", donor ", l.Donor, g+", donor not entered")
}

// title names the label and desc says all of it, for who cannot see it.
func (l Label) title() string {
	s := "Label of vessel " + isolate(plain(l.Vessel))
	if lot := plain(l.Lot); lot != "" {
		s += ", lot " + isolate(lot)
	}
	return s
}

func (l Label) desc() string {
	var say []string
	if l.Standing() {
		say = []string{"standing medium, " + l.filled() + ", not inoculated", l.medium().String(), isolate(plain(l.Room))}
	} else {
		beside, below := l.rows()
		for _, r := range beside[1:] {
			say = append(say, r.String())
		}
		if l.Inoculated.IsZero() {
			say = append(say, below.lead)
		} else {
			say = append(say, "inoculated "+below.lead+" "+l.Inoculated.In(l.zone()).Format("MST"))
		}
	}
	return strings.Join(say, "; ")
}
