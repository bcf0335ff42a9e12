package logbook

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Lot is one culture from its inoculation to its end, as the logbook tells it.
// Volumes are litres; a zero time has not come.
type Lot struct {
	Name       string
	Vessel     string
	Strain     string
	Medium     string
	Role       string // Working or Stock
	Donor      string // name of a lot where the logbook knows it, else as written
	Generation int    // 1 from outside the logbook, one more than its donor's
	Inoculated time.Time
	InoculumL  float64 // 0 unknown
	StartL     float64 // in the vessel right after; 0 unknown
	HarvestOD  float64 // od above blank at which it is ready; 0 unknown
	// HarvestCells is the same in cells/mL, for vessels without a probe.
	HarvestCells float64
	Ended        time.Time
	Why          string // it ended, empty if not said
	Doses        []Dosed
	Harvests     []Drawn
	Given        []Drawn // as inoculum to others
	Counts       []Counted
	Looks        []ingest.Entry
	Overruled    []string // the doubts under which it was started, by who answers for them
	// Unasked are the doubts that stood when it was started and nobody was
	// asked about, as where a device wrote the entry.
	Unasked []Doubt
}

// Drawn is culture taken out.
type Drawn struct {
	At       time.Time
	VolumeL  float64
	Refilled bool
	To       string // tank or lot, empty if not said
}

// Dosed is one dose of nutrients.
type Dosed struct {
	At       time.Time
	Medium   string
	Strength float64            // times the recipe; 1 where not said
	PartsML  map[string]float64 // by part: a, b, silicate
	Bottles  map[string]string  // by part, as the bottle is marked
}

// Open reports whether the lot has not ended by t.
func (l Lot) Open(t time.Time) bool {
	return !l.Inoculated.After(t) && (l.Ended.IsZero() || l.Ended.After(t))
}

// HarvestedL is what was harvested, litres.
func (l Lot) HarvestedL() float64 {
	sum := 0.0
	for _, d := range l.Harvests {
		sum += d.VolumeL
	}
	return sum
}

func dosed(e ingest.Entry) Dosed {
	d := Dosed{At: e.At, Medium: e.Str("medium"), Strength: 1, PartsML: map[string]float64{}, Bottles: map[string]string{}}
	if s, ok := e.Float("strength"); ok {
		d.Strength = s
	}
	for name := range e.Fields {
		if part, ok := strings.CutSuffix(name, "_ml"); ok {
			if ml, isNumber := e.Float(name); isNumber {
				d.PartsML[part] = ml
			}
		}
		if part, ok := strings.CutPrefix(name, "bottle_"); ok && e.Str(name) != "" {
			d.Bottles[part] = e.Str(name)
		}
	}
	return d
}

// oldestFirst orders lots by inoculation.
func oldestFirst(a, b *Lot) int {
	return cmp.Or(a.Inoculated.Compare(b.Inoculated), cmp.Compare(a.Name, b.Name))
}

// clone is a copy that shares nothing that is written to.
func (l *Lot) clone() Lot {
	out := *l
	out.Doses, out.Harvests, out.Given = slices.Clone(l.Doses), slices.Clone(l.Harvests), slices.Clone(l.Given)
	out.Counts, out.Looks = slices.Clone(l.Counts), slices.Clone(l.Looks)
	out.Overruled, out.Unasked = slices.Clone(l.Overruled), slices.Clone(l.Unasked)
	return out
}
