package logbook

import (
	"maps"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Vessel is one vessel as the logbook leaves it. A zero time has not come.
type Vessel struct {
	Name    string
	Known   bool    // the volume is known
	FilledL float64 // what is in it, litres, never negative; 0 where not Known
	Lot     string  // the one that grows in it, empty if none
	Before  string  // the lot before it, or the one that ended
	Water   Water
	Probe   Probe
	Place   string
	Cycle   Cycle // making it ready for the next lot
	Newest  time.Time
}

// Water is what stands in a vessel, or stood in it before the inoculum.
type Water struct {
	Filled     time.Time
	Medium     string // as the filling or the newest dose named it
	Treated    string // none, filtered, pasteurised, autoclaved; empty if not said
	Bleached   time.Time
	ChlorineMg float64       // mg/L aimed at; 0 not said
	BleachML   float64       // that went in; 0 not said
	Contact    time.Duration // the bleach is to stay for; 0 not said
	Neutral    time.Time     // thiosulfate went in
	Test       ChlorineTest  // after all of these; zero At: none
	Doses      []Dosed
	TakenOutL  float64 // before the inoculum
	Residue    Residue // on the walls
}

// ChlorineTest is a test of the water for chlorine.
type ChlorineTest struct {
	At     time.Time
	MgPerL float64
	Method string
	Limit  float64 // mg/L that the method can still see
}

// Free reports whether the test found no chlorine, as far as it can see.
func (t ChlorineTest) Free() bool {
	seen := t.MgPerL > 0 && t.Limit > 0 && t.Limit <= harmless && t.MgPerL <= harmless
	return !t.At.IsZero() && (t.MgPerL == 0 || seen)
}

// harmless is the chlorine, mg/L, below which a culture may go in, where a
// method sees so little (common aim; a DPD test does).
const harmless = 0.05

// limits are what the methods can see, mg/L, from memory.
var limits = map[string]float64{Strip: 0.5, DPD: 0.05}

// Residue is what the walls may still be wet with.
type Residue string

// The residues.
const (
	NoResidue   Residue = ""
	Bleach      Residue = "bleach"
	Thiosulfate Residue = "thiosulfate"
	Acid        Residue = "acid"
)

// Probe is the od probe on a vessel, as far as the logbook knows.
type Probe struct {
	Name    string
	Fitted  time.Time
	Blank   float64 // od in standing medium; NaN not said
	Series  []Dilution
	Wiped   time.Time
	Earlier []string // probes before this one
}

// Dilution is one step of a dilution series: this share of culture reads so.
type Dilution struct {
	Share float64
	OD    float64
}

func (v *Vessel) clone() Vessel {
	out := *v
	out.Water.Doses = slices.Clone(v.Water.Doses)
	out.Probe.Series, out.Probe.Earlier = slices.Clone(v.Probe.Series), slices.Clone(v.Probe.Earlier)
	out.Cycle.Done = maps.Clone(v.Cycle.Done)
	return out
}

// fill sets the volume.
func (v *Vessel) fill(litres float64) { v.FilledL, v.Known = max(litres, 0), true }

// take takes litres out; more than there is leaves none.
func (v *Vessel) take(litres float64) {
	if v.Known {
		v.FilledL = max(v.FilledL-litres, 0)
	}
}

// add puts litres in.
func (v *Vessel) add(litres float64) {
	if v.Known {
		v.FilledL += litres
	}
}

func testOf(e ingest.Entry) ChlorineTest {
	t := ChlorineTest{At: e.At, Method: e.Str("method")}
	t.MgPerL, _ = e.Float("chlorine_mg_l")
	t.Limit = limits[t.Method]
	if l, ok := e.Float("limit_mg_l"); ok {
		t.Limit = l
	}
	return t
}
