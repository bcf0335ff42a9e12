package logbook

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// unequal is how far parts A and B may differ: they go in in equal volumes
// (common practice), as far as a syringe tells.
const unequal = 0.10

// dose asks about the nutrients of the water that is to be inoculated.
func (g *guard) dose() {
	if g.v.Lot != "" {
		return
	}
	if len(g.v.Water.Doses) == 0 {
		g.ask("dose_missing", "No nutrients are written for the water in %s.", g.e.Vessel)
		return
	}
	g.parts(g.v.Water.Doses, g.v.FilledL, true)
}

// fits asks about a dose that is about to be written, with those that went
// into the same water before it.
func (g *guard) fits() {
	doses, litres := g.doses()
	g.parts(append(doses, dosed(g.e)), litres, false)
}

// parts asks about the sum of some doses for so many litres. Whole says that
// no more parts are to come.
func (g *guard) parts(doses []Dosed, litres float64, whole bool) {
	sum := map[string]float64{}
	medium := g.v.Water.Medium
	for _, d := range doses {
		for part, ml := range d.PartsML {
			sum[part] += ml
		}
		medium = cmp.Or(d.Medium, medium)
	}
	a, b := sum["a"], sum["b"]
	if both := a > 0 && b > 0; math.Abs(a-b) > unequal*max(a, b) && (both || whole) {
		g.ask("dose_unequal", "Parts A and B differ, %s and %s mL: they go in in equal volumes.", num(a), num(b))
		return
	}
	if len(sum) == 0 || !(litres > 0) || g.out.DoseUnfit == nil {
		return
	}
	if why := g.out.DoseUnfit(medium, g.strain(), litres, sum, whole); why != "" {
		g.ask("dose_unfit", "%s", why)
	}
}

// doses are those that the new water in the vessel has had, and how much of it
// there is: since its filling, or since the last refill of a lot that lives on.
func (g *guard) doses() ([]Dosed, float64) {
	l, ok := g.book.Lot(g.v.Lot)
	if !ok {
		return slices.Clone(g.v.Water.Doses), g.v.FilledL
	}
	since, litres := time.Time{}, g.v.FilledL
	for _, h := range l.Harvests {
		if h.Refilled {
			since, litres = h.At, h.VolumeL
		}
	}
	return slices.DeleteFunc(slices.Clone(l.Doses), func(d Dosed) bool { return d.At.Before(since) }), litres
}

func (g *guard) dosedAlready() {
	had, _ := g.doses()
	now := dosed(g.e)
	for _, d := range had {
		if g.e.Flag("again") || !overlap(d.PartsML, now.PartsML) {
			continue
		}
		g.ask("dosed_already", "%s was dosed at %s: say that a second dose is meant.", g.e.Vessel, g.when(d.At))
		return
	}
}

// overlap reports whether two doses have a part in common. A dose that names
// none is of all of them.
func overlap(a, b map[string]float64) bool {
	for part := range a {
		if _, both := b[part]; both {
			return true
		}
	}
	return len(a) == 0 || len(b) == 0
}

// strain is that of the entry, of its donor or of the lot in the vessel.
func (g *guard) strain() string {
	if s := g.e.Str("strain"); s != "" {
		return s
	}
	if d := g.book.fold.donor(g.e.Str("donor")); d != nil {
		return d.Strain
	}
	l, _ := g.book.Lot(g.v.Lot)
	return l.Strain
}

// aboutSame is how far two volumes may differ that are the same: marks on a
// carboy are half a litre apart, and people read them from above.
const aboutSame = 0.10

// volumes asks whether what came out makes room for what goes in.
func (g *guard) volumes() {
	in, said := g.e.Float("inoculum_l")
	if !said || g.v.Lot != "" {
		return
	}
	size := g.book.sizes[g.e.Vessel]
	out, told := g.e.Float("taken_out_l")
	switch {
	case size > 0 && in > size:
		g.ask("volume", "An inoculum of %s L does not fit %s, which holds %s L.", num(in), g.e.Vessel, num(size))
	case told && math.Abs(out-in) > aboutSame*in:
		g.ask("volume", "%s L were taken out and %s L go in: the same amount goes in as came out.", num(out), num(in))
	case !told && g.v.Known && size > 0 && g.v.FilledL+in > size*(1+aboutSame/2):
		g.ask("volume", "%s L stand in %s, which holds %s L: %s L must come out before %s L go in.",
			num(g.v.FilledL), g.e.Vessel, num(size), num(in), num(in))
	}
}

func (g *guard) full() {
	size := g.book.sizes[g.e.Vessel]
	if l, said := g.e.Float("volume_l"); said && size > 0 && l > size*(1+aboutSame) {
		g.ask("volume", "%s L do not fit %s, which holds %s L.", num(l), g.e.Vessel, num(size))
	}
}

func (g *guard) harvest() {
	l, said := g.e.Float("volume_l")
	switch {
	case g.v.Lot == "":
		g.ask("no_lot", "No lot grew in %s at %s, as far as the logbook knows.", g.e.Vessel, g.when(g.e.At))
	case said && g.v.Known && l > g.v.FilledL*(1+aboutSame):
		g.ask("volume", "%s L are more than the %s L that stand in %s.", num(l), num(g.v.FilledL), g.e.Vessel)
	}
}

// Above these a dose of bleach is asked about: 5 mL of 5 per cent bleach a
// litre and what that makes are the most that handbooks put into seawater
// (Creswell 2010, SRAC 5004).
const (
	muchBleachML = 5.0   // a litre
	muchChlorine = 250.0 // mg/L
)

// muchBleach asks about amounts that nobody means.
func (g *guard) muchBleach() {
	g.full()
	size := g.book.sizes[g.e.Vessel]
	if v, said := g.e.Float("volume_l"); said && v <= size*(1+aboutSame) {
		size = v
	}
	ml, _ := g.e.Float("bleach_ml")
	mg, _ := g.e.Float("chlorine_mg_l")
	switch {
	case size > 0 && ml > muchBleachML*size:
		g.ask("much_bleach", "%s mL of bleach in %s L are more than the most that is usual, %s mL a litre.", num(ml), num(size), num(muchBleachML))
	case mg > muchChlorine:
		g.ask("much_bleach", "%s mg/L of chlorine are more than the most that is usual, %s mg/L.", num(mg), num(muchChlorine))
	}
}

// over asks where more goes in than the vessel holds.
func (g *guard) over() {
	size := g.book.sizes[g.e.Vessel]
	l, said := g.e.Float("volume_l")
	if said && size > 0 && (l > size || g.v.Known && g.v.FilledL+l > size*(1+aboutSame)) {
		g.ask("volume", "%s L more do not fit %s, in which %s of %s L stand.", num(l), g.e.Vessel, num(g.v.FilledL), num(size))
	}
}

// bleach asks where acid may still be on the walls.
func (g *guard) bleach() {
	if g.v.Water.Residue == Acid {
		g.ask("acid_left", "%s was rinsed with acid and no rinse with water is written since: bleach on acid gives off chlorine gas.", g.e.Vessel)
	}
}

// acid asks where bleach or thiosulfate may still be on the walls.
func (g *guard) acid() {
	switch g.v.Water.Residue {
	case Bleach:
		g.ask("bleach_left", "%s has had bleach, and no rinse with water is written since it was emptied: acid on bleach gives off chlorine gas.", g.e.Vessel)
	case Thiosulfate:
		g.ask("thiosulfate_left", "%s has had thiosulfate, and no rinse with water is written since it was emptied: acid on it gives off sulfur dioxide.", g.e.Vessel)
	}
}

// soak asks whether the bleach has stayed long enough.
func (g *guard) soak() {
	w := g.v.Water
	if w.Bleached.IsZero() {
		return
	}
	want := w.Contact
	if want == 0 {
		want = UsualContact
	}
	if had := g.e.At.Sub(w.Bleached); had < want {
		g.ask("soak_short", "The bleach has been in %s for %s of %s.", g.e.Vessel, span(had), span(want))
	}
}

// span writes a time in hours and minutes.
func span(d time.Duration) string {
	d = d.Round(time.Minute)
	h, m := int(d.Hours()), int(d.Minutes())%60
	switch {
	case h == 0:
		return num(float64(m)) + " min"
	case m == 0:
		return num(float64(h)) + " h"
	}
	return num(float64(h)) + " h " + num(float64(m)) + " min"
}
