package logbook

import (
	"cmp"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// fold is a book being read from its first entry on.
type fold struct {
	vessels map[string]*Vessel
	lots    map[string]*Lot
	sizes   map[string]float64 // litres by vessel, 0 unknown
	started map[string][]*Lot  // by donor, as they come
	sick    []Taint            // as they come
}

func newFold(sizes map[string]float64) fold {
	return fold{vessels: map[string]*Vessel{}, lots: map[string]*Lot{}, started: map[string][]*Lot{}, sizes: sizes}
}

func (f *fold) vessel(name string) *Vessel {
	v := f.vessels[name]
	if v == nil {
		v = &Vessel{Name: name, Probe: Probe{Blank: math.NaN()}, Cycle: Cycle{Done: map[int]time.Time{}}}
		f.vessels[name] = v
	}
	return v
}

// lot is the one that grows in v; nil if none.
func (f *fold) lot(v *Vessel) *Lot { return f.lots[v.Lot] }

// about is the lot that an entry speaks of: the one it names, if it is or was
// in that vessel, else the one that grows there.
func (f *fold) about(v *Vessel, e ingest.Entry) *Lot {
	if l := f.lots[e.Str("lot")]; l != nil && l.Vessel == v.Name {
		return l
	}
	return f.lot(v)
}

// step takes in one entry in its turn.
func (f *fold) step(e ingest.Entry) {
	v := f.vessel(e.Vessel)
	v.Newest = later(v.Newest, e.At)
	defer v.Cycle.step(e)
	switch e.Kind {
	case ingest.Fill:
		f.filled(v, e)
	case ingest.Clean:
		f.close(v, e.At, "") // nobody cleans a vessel that a lot grows in
		v.fill(0)
	case ingest.Chlorinate, ingest.Neutralise, ingest.ChlorineTest, ingest.AcidRinse, ingest.Rinse:
		if e.Kind == ingest.Chlorinate && v.Lot == "" && v.Water.Filled.IsZero() { // it is filled with water and bleach
			litres, _ := e.Float("volume_l")
			if litres = cmp.Or(litres, f.sizes[v.Name]); litres > 0 {
				v.fill(litres)
			}
		}
		v.treat(e)
	case ingest.Dump:
		f.close(v, e.At, Discarded)
		v.Water = Water{Residue: v.Water.Residue}
		v.fill(0)
	case ingest.Dose:
		f.dose(v, e)
	case ingest.Inoculate:
		f.start(v, e)
	case ingest.Sample:
		ml, _ := e.Float("volume_ml")
		v.take(ml / 1000)
	case ingest.Count, ingest.Look, ingest.Harvest, ingest.TopUp:
		f.work(v, e)
	case ingest.WipeSensor:
		v.Probe.Wiped = e.At
	case ingest.FitSensor:
		v.fit(e)
	case ingest.Move:
		v.Place = e.Str("place")
	case ingest.End:
		f.end(v, e)
	}
}

func (f *fold) filled(v *Vessel, e ingest.Entry) {
	litres, said := e.Float("volume_l")
	if !said {
		litres = f.sizes[v.Name]
	}
	residue := v.Water.Residue
	f.close(v, e.At, "")
	v.Water = Water{Filled: e.At, Medium: e.Str("medium"), Treated: e.Str("treated"), Residue: residue}
	if litres > 0 {
		v.fill(litres)
	} else {
		v.Known, v.FilledL = false, 0
	}
}

// treat notes what the water was treated with.
func (v *Vessel) treat(e ingest.Entry) {
	w := &v.Water
	switch e.Kind {
	case ingest.Chlorinate:
		w.Bleached, w.Neutral, w.Test, w.Residue = e.At, time.Time{}, ChlorineTest{}, Bleach
		w.ChlorineMg, _ = e.Float("chlorine_mg_l")
		w.BleachML, _ = e.Float("bleach_ml")
		h, _ := e.Float("contact_h")
		w.Contact = time.Duration(h * float64(time.Hour))
	case ingest.Neutralise:
		w.Neutral, w.Test, w.Residue = e.At, ChlorineTest{}, Thiosulfate
	case ingest.ChlorineTest:
		w.Test = testOf(e)
	case ingest.AcidRinse:
		w.Residue = Acid
	case ingest.Rinse:
		if w.Filled.IsZero() && w.Bleached.IsZero() { // of a full vessel it clears nothing
			w.Residue = NoResidue
		}
	}
}

func (f *fold) dose(v *Vessel, e ingest.Entry) {
	d := dosed(e)
	if l := f.lot(v); l != nil {
		l.Doses = append(l.Doses, d)
		return
	}
	v.Water.Doses = append(v.Water.Doses, d)
	v.Water.Medium = cmp.Or(d.Medium, v.Water.Medium)
}

// work notes what is done to a growing lot.
func (f *fold) work(v *Vessel, e ingest.Entry) {
	l := f.about(v, e)
	litres, _ := e.Float("volume_l")
	switch e.Kind {
	case ingest.Harvest:
		if !e.Flag("refilled") && l == f.lot(v) {
			v.take(litres)
		}
	case ingest.TopUp:
		v.add(litres)
		if size := f.sizes[v.Name]; size > 0 { // what dried off is not in the book
			v.FilledL = min(v.FilledL, max(size, litres))
		}
		v.Water.Test = ChlorineTest{}
	}
	if l == nil {
		return
	}
	switch e.Kind {
	case ingest.Harvest:
		l.Harvests = append(l.Harvests, Drawn{At: e.At, VolumeL: litres, Refilled: e.Flag("refilled"), To: e.Str("tank")})
	case ingest.Count:
		if c, ok := CountOf(e); ok {
			l.Counts = append(l.Counts, c)
		}
	case ingest.Look:
		l.Looks = append(l.Looks, e)
		if e.Flag("contaminated") {
			f.sick = append(f.sick, Taint{Lot: l.Name, Why: Contaminated, At: e.At})
		}
	}
}

// start begins a lot.
func (f *fold) start(v *Vessel, e ingest.Entry) {
	unasked := f.unasked(v, e)
	f.close(v, e.At, "")
	l := &Lot{Name: f.free(lotName(e), e), Vessel: v.Name, Strain: e.Str("strain"), Medium: e.Str("medium"),
		Role: e.Str("role"), Inoculated: e.At, Doses: v.Water.Doses, Generation: 1}
	if l.Role == "" {
		l.Role = Working
	}
	l.InoculumL, _ = e.Float("inoculum_l")
	l.HarvestOD, _ = e.Float("harvest_od")
	l.HarvestCells, _ = e.Float("harvest_cells_per_ml")
	if said := e.Str(overruled); said != "" {
		l.Overruled = strings.Split(said, " ")
	}
	l.Unasked = unasked
	f.donate(l, e)
	l.Medium = cmp.Or(l.Medium, v.Water.Medium)
	out, _ := e.Float("taken_out_l")
	v.Water.TakenOutL = out
	if litres, said := e.Float("volume_l"); said {
		v.fill(litres)
	} else {
		v.take(out)
		v.add(l.InoculumL)
	}
	if v.Known {
		l.StartL = v.FilledL
	}
	f.lots[l.Name] = l
	if l.Donor != "" {
		f.started[l.Donor] = append(f.started[l.Donor], l)
	}
	v.Lot, v.Water.Doses, v.Water.Residue = l.Name, nil, NoResidue
}

// unasked are the doubts against a start about which nobody was asked. What
// anybody was asked about is kept in the entry itself.
func (f *fold) unasked(v *Vessel, e ingest.Entry) []Doubt {
	if e.Str(OverruledBy) != "" {
		return nil
	}
	past := &Book{sizes: f.sizes, fold: *f}
	g := guard{book: past, now: past, e: e, v: *v, out: Outside{Zone: time.UTC}}
	g.inoculate()
	return g.doubts
}

// lotName is what a lot is called that nobody named.
func lotName(e ingest.Entry) string {
	if name := e.Str("lot"); name != "" {
		return name
	}
	return "lot of " + e.At.UTC().Format("2006-01-02")
}

// free returns a name that no other lot has: a second lot of one name is
// called by its vessel too.
func (f *fold) free(name string, e ingest.Entry) string {
	for i, try := 2, name; ; i++ {
		if f.lots[try] == nil {
			return try
		}
		if try = name + " in " + e.Vessel; i > 2 {
			try += " (" + strconv.Itoa(i-1) + ")"
		}
	}
}

// donate finds the donor, which gives the inoculum and the generation.
func (f *fold) donate(l *Lot, e ingest.Entry) {
	l.Donor = e.Str("donor")
	if d := f.donor(l.Donor); d != nil {
		l.Donor, l.Generation = d.Name, d.Generation+1
		d.Given = append(d.Given, Drawn{At: e.At, VolumeL: l.InoculumL, To: l.Name})
		if from := f.vessels[d.Vessel]; from != nil && from.Lot == d.Name {
			from.take(l.InoculumL)
		}
		if l.Strain == "" {
			l.Strain = d.Strain
		}
	}
	if g, said := e.Float("generation"); said {
		l.Generation = int(g)
	}
}

// donor finds a lot by its name or by the vessel it stands in.
func (f *fold) donor(name string) *Lot {
	if l := f.lots[name]; l != nil {
		return l
	}
	v := f.vessels[name]
	switch {
	case v == nil:
		return nil
	case v.Lot != "":
		return f.lot(v)
	}
	return f.lots[v.Before] // what stood in it last
}

// end ends the lot that an entry names, or the one that grows there.
func (f *fold) end(v *Vessel, e ingest.Entry) {
	name := e.Str("lot")
	l := f.lots[name]
	if l != nil && l.Name != v.Lot && l.Vessel == v.Name && l.Ended.IsZero() {
		f.over(l, e.At, e.Str("reason")) // an older one that nobody had ended
		return
	}
	if name == "" || name == v.Lot {
		f.close(v, e.At, e.Str("reason"))
	}
}

// close ends the lot that grows in v.
func (f *fold) close(v *Vessel, at time.Time, why string) {
	l := f.lot(v)
	if l == nil {
		return
	}
	f.over(l, at, why)
	v.Before, v.Lot = l.Name, ""
	v.Cycle = Cycle{Since: at, Done: map[int]time.Time{}}
	if w := v.Water; w.Bleached.After(l.Inoculated) {
		// Bleach went into the culture: it stands there still, and is the soak.
		v.Cycle.Done[stepSoak], v.Cycle.Contact[0] = w.Bleached, cmp.Or(w.Contact, UsualContact)
		return
	}
	v.Water = Water{Residue: v.Water.Residue}
}

func (f *fold) over(l *Lot, at time.Time, why string) {
	l.Ended, l.Why = at, why
	if why == Crashed || why == Contaminated {
		f.sick = append(f.sick, Taint{Lot: l.Name, Why: why, At: at})
	}
}

func (v *Vessel) fit(e ingest.Entry) {
	if v.Probe.Name != "" && v.Probe.Name != e.Str("sensor") {
		v.Probe.Earlier = append(v.Probe.Earlier, v.Probe.Name)
	}
	v.Probe = Probe{Name: e.Str("sensor"), Fitted: e.At, Blank: math.NaN(), Earlier: v.Probe.Earlier}
	if od, ok := e.Float("blank_od"); ok {
		v.Probe.Blank = od
	}
	v.Probe.Series, _ = Series(e.Str("series"))
}
