package logbook

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Doubt is a reason not to do what an entry says, told before it is written.
type Doubt struct {
	Code string // a word that does not change: chlorine_untested
	Says string // one sentence
}

// Outside is what speaks for or against an entry and is not in the logbook.
// The zero Outside knows nothing.
type Outside struct {
	Sick []Taint // lots that an alarm says are sick
	// PastBest says why a lot is past its best as a donor, empty if it is not.
	PastBest func(Lot) string
	// DoseUnfit says why parts, mL, do not fit so many litres of a medium for a
	// strain, empty if they do or nothing is known.
	// Whole says that no more parts are to come.
	DoseUnfit func(medium, strain string, litres float64, partsML map[string]float64, whole bool) string
	Zone      *time.Location // for times in the sentences; nil is UTC
}

// Doubts returns what the guards of the trade say against an entry that is
// about to be written, in the order in which they matter; none if nothing
// does. The book is not changed.
func (b *Book) Doubts(e ingest.Entry, out Outside) []Doubt {
	if out.Zone == nil {
		out.Zone = time.UTC
	}
	if e.Kind == ingest.Correct {
		n, err := b.about(e)
		if err != nil {
			return nil
		}
		// What it comes to, as if it had been written so at first.
		e, b = corrected(n.Entry, e), b.without(n.ID)
		e.Fields = cloneFields(e.Fields)
		delete(e.Fields, OverruledBy)
	}
	now := b
	b = b.before(e)
	g := guard{book: b, now: now, e: e, v: b.Vessel(e.Vessel), out: out}
	switch e.Kind {
	case ingest.Inoculate:
		g.inoculate()
	case ingest.Fill:
		g.taken()
		g.full()
	case ingest.Chlorinate:
		g.taken()
		g.bleach()
		g.muchBleach()
	case ingest.AcidRinse:
		g.taken()
		g.acid()
	case ingest.Rinse:
		g.taken()
	case ingest.TopUp:
		g.over()
	case ingest.Neutralise:
		g.taken()
		g.bleach()
		g.soak()
	case ingest.Dump, ingest.Clean:
		g.taken()
	case ingest.Dose:
		g.dosedAlready()
		g.fits()
	case ingest.Harvest:
		g.harvest()
	}
	g.twice()
	return g.doubts
}

// Overrule returns the entry with the doubts under which who had it written.
func Overrule(e ingest.Entry, doubts []Doubt, who string) ingest.Entry {
	if len(doubts) == 0 {
		return e
	}
	var codes []string
	for _, d := range doubts {
		codes = append(codes, d.Code)
	}
	e.Fields = cloneFields(e.Fields)
	e.Fields[OverruledBy], e.Fields[overruled] = ingest.Text(who), ingest.Text(strings.Join(codes, " "))
	return e
}

type guard struct {
	book   *Book // as it stood when the entry happened
	now    *Book // as it stands
	e      ingest.Entry
	v      Vessel
	out    Outside
	doubts []Doubt
}

func (g *guard) ask(code, format string, args ...any) {
	g.doubts = append(g.doubts, Doubt{code, fmt.Sprintf(format, args...)})
}

func (g *guard) when(t time.Time) string { return t.In(g.out.Zone).Format("2 Jan 15:04") }

func (g *guard) inoculate() {
	g.taken()
	g.chlorine()
	g.donor()
	g.dose()
	g.volumes()
	g.name()
}

// taken asks where the vessel holds a lot that this would end.
func (g *guard) taken() {
	if g.v.Lot != "" {
		g.ask("vessel_taken", "%s held lot %s at %s, which had not ended.", g.e.Vessel, g.v.Lot, g.when(g.e.At))
	}
}

// heated are treatments after which there never was chlorine in the water.
var heated = []string{"pasteurised", "autoclaved"}

// chlorine asks for the test that found none.
func (g *guard) chlorine() {
	w := g.v.Water
	t := w.Test
	switch {
	case g.livedIn():
	case t.MgPerL > 0 && !t.Free():
		g.ask("chlorine_found", "The test of %s found %s mg/L of chlorine in %s: it must find none.", g.when(t.At), num(t.MgPerL), g.e.Vessel)
	case t.Free() && t.Limit > blindAbove: // reads none
		g.ask("chlorine_untested", "The test of %s shows no less than %s mg/L of chlorine: it cannot say that %s is free of it.", g.when(t.At), num(t.Limit), g.e.Vessel)
	case t.Free() && (w.Bleached.IsZero() || !w.Neutral.IsZero()):
	case t.Free():
		g.ask("chlorine_untested", "%s was bleached at %s and no thiosulfate is written since: strong chlorine can make a test show none.", g.e.Vessel, g.when(w.Bleached))
	case w.Bleached.IsZero() && slices.Contains(heated, w.Treated):
	case w.Bleached.IsZero() && w.Filled.IsZero():
		g.ask("chlorine_untested", "Nothing is written about the water in %s: no chlorine test has found it free.", g.e.Vessel)
	case w.Bleached.IsZero():
		g.ask("chlorine_untested", "No chlorine test of the water in %s is written since it was filled at %s.", g.e.Vessel, g.when(w.Filled))
	case w.Neutral.IsZero():
		g.ask("chlorine_untested", "%s was bleached at %s; neither thiosulfate nor a chlorine test is written since.", g.e.Vessel, g.when(w.Bleached))
	default:
		g.ask("chlorine_untested", "No chlorine test of %s is written since the thiosulfate of %s.", g.e.Vessel, g.when(w.Neutral))
	}
}

// blindAbove is the least chlorine, mg/L, that a test must show: pool strips
// do, at 0.5; what shows only more than twice that tells nothing of a culture.
const blindAbove = 1.0

// livedIn reports whether a lot grows in the water, into which no bleach went
// since it began.
func (g *guard) livedIn() bool {
	l := g.book.fold.lots[g.v.Lot]
	return l != nil && !g.v.Water.Bleached.After(l.Inoculated)
}

// sameAgain is how close two entries must be to be the same one sent twice.
const sameAgain = 2 * time.Minute

// twice asks where the same was written a moment ago: a tap that was repeated
// because the first seemed lost.
func (g *guard) twice() {
	for i := len(g.book.notes) - 1; i >= 0; i-- {
		n := g.book.notes[i]
		if n.Withdrawn != nil || n.Vessel != g.e.Vessel {
			continue
		}
		if n.Kind == g.e.Kind && g.e.At.Sub(n.At) <= sameAgain && g.e.Written.Sub(n.Written).Abs() <= sameAgain && sameFields(n.Fields, g.e.Fields) {
			g.ask("written_already", "The same was written at %s: was it done twice?", g.when(n.At))
		}
		return
	}
}

func sameFields(a, b map[string]ingest.Value) bool {
	a, b = cloneFields(a), cloneFields(b)
	for _, m := range []map[string]ingest.Value{a, b} {
		delete(m, OverruledBy)
		delete(m, overruled)
	}
	return maps.Equal(a, b)
}

// donor asks about whom the inoculum comes from.
func (g *guard) donor() {
	said := g.e.Str("donor")
	d := g.book.fold.donor(said)
	if d == nil {
		if said != "" {
			g.ask("donor_unknown", "%q is neither a lot nor a vessel with one, as far as the logbook knows: write it as it stands there, or say that it comes from outside.", short(said))
		}
		return
	}
	if s := g.e.Str("strain"); s != "" && d.Strain != "" && s != d.Strain {
		g.ask("donor_strain", "The donor %s is %s, not %s.", d.Name, d.Strain, s)
	}
	// What is known now counts, also where it was found after the transfer.
	for _, t := range g.now.Taints(d.Name, g.out.Sick...) {
		g.ask("donor_tainted", "%s", g.taint(d.Name, t))
		break // one is enough to ask
	}
	if !d.Ended.IsZero() && g.e.At.Sub(d.Ended) > 24*time.Hour {
		g.ask("donor_over", "The donor %s ended at %s.", d.Name, g.when(d.Ended))
		return
	}
	if g.out.PastBest != nil {
		if why := g.out.PastBest(d.clone()); why != "" {
			g.ask("donor_past_best", "The donor %s is past its best: %s.", d.Name, why)
		}
	}
}

func (g *guard) taint(donor string, t Taint) string {
	what := map[string]string{Crashed: "crashed", Contaminated: "is contaminated"}[t.Why]
	if t.Suspected {
		what = "is under suspicion (" + t.Why + ")"
	}
	if t.Lot == donor {
		return fmt.Sprintf("The donor %s %s (%s).", donor, what, g.when(t.At))
	}
	return fmt.Sprintf("Lot %s %s (%s), and the donor %s is its kin: look at it under the microscope first, and write down the look.",
		t.Lot, what, g.when(t.At), donor)
}

// name asks where another lot has the name.
func (g *guard) name() {
	if name := g.e.Str("lot"); name != "" && g.book.fold.lots[name] != nil {
		g.ask("lot_name_taken", "There is a lot %s already, in %s.", name, g.book.fold.lots[name].Vessel)
	}
}
