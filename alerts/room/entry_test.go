package room

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// drawn is what a vessel sends from which a third is taken at a time.
func drawn(when time.Time) func(time.Time, map[ingest.Quantity]float64) {
	return func(at time.Time, v map[ingest.Quantity]float64) {
		if !at.Before(when) {
			v[unit.OD] *= 0.6
		}
	}
}

func wrote(kind ingest.Kind, at, written time.Time, fields map[string]ingest.Value) ingest.Entry {
	return ingest.Entry{Vessel: "C01", Kind: kind, At: at, Written: written, Who: "ana", Fields: fields}
}

func entriesOnly(list ...ingest.Entry) ingest.Batch { return ingest.Batch{Entries: list} }

// A step at night is called; the harvest that somebody writes down next
// morning explains it, and the alarm says so.
func TestLateEntryExplainsTheCall(t *testing.T) {
	when := noon.Add(3*24*time.Hour + 9*time.Hour) // 21:00, the house is empty
	end := when.Add(4 * time.Hour)
	r := New(options("C01"))
	r.Digest(entriesOnly(started("C01", noon)), noon)
	before, after := split(stretch("C01", noon, end.Add(2*time.Hour).Sub(noon), 1, drawn(when)), end)
	out := digest(r, before, 300)
	if len(out.Calls) != 1 || out.Alarms[0].Explained != "" {
		t.Fatalf("a step at night came to %v, explained %q", raised(out), out.Alarms[0].Explained)
	}
	harvest := wrote(ingest.Harvest, when.Add(10*time.Minute), end, map[string]ingest.Value{"volume_l": ingest.Num(7), "refilled": ingest.Bool(true)})
	r.Digest(entriesOnly(harvest), noon)
	out = digest(r, after, 300)
	if len(out.Alarms) == 0 {
		t.Fatal("the entry changed no alarm")
	}
	a := out.Alarms[len(out.Alarms)-1]
	if a.State != alerts.Returned || !strings.Contains(a.Explained, "harvest: 7 L") || !strings.Contains(a.Explained, "ana") {
		t.Errorf("alarm is %s, explained %q", a.State, a.Explained)
	}
	if len(out.Calls) != 0 {
		t.Errorf("explaining made %d calls", len(out.Calls))
	}
}

// What goes by itself is not explained by an entry that has nothing to do
// with it.
func TestUnrelatedEntryExplainsNothing(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	r := New(options("C01"))
	r.Digest(entriesOnly(started("C01", noon)), noon)
	before, after := split(stretch("C01", noon, 17*time.Hour, 1, airOff(off, off.Add(61*time.Minute))), noon.Add(15*time.Hour))
	digest(r, before, 100)
	r.Digest(entriesOnly(wrote(ingest.Remark, noon.Add(2*time.Hour), noon.Add(15*time.Hour), map[string]ingest.Value{"remark": ingest.Text("x")})), noon)
	out := digest(r, after, 100)
	if len(out.Alarms) == 0 {
		t.Fatal("air that came back changed no alarm")
	}
	for _, a := range out.Alarms {
		if a.Explained != "" {
			t.Errorf("air that came back is explained by %q", a.Explained)
		}
	}
}

// split parts readings at a time.
func split(all []ingest.Reading, at time.Time) (before, after []ingest.Reading) {
	i := slices.IndexFunc(all, func(r ingest.Reading) bool { return !r.At.Before(at) })
	return all[:i], all[i:]
}

// memoryOf is all that is known of the one vessel, without what alarms saw.
func memoryOf(r *Room) string {
	v := r.Views()
	for i := range v {
		v[i].Alarms = nil
	}
	return fmt.Sprintf("%+v", v)
}

// A correction makes what is known what it would be if it had been written so
// at once, within the lateness and long after.
func TestCorrectionIsAsIfWrittenSo(t *testing.T) {
	when := noon.Add(2*24*time.Hour + 2*time.Hour)
	for _, after := range []time.Duration{20 * time.Minute, 30 * time.Hour} {
		end := when.Add(after)
		all := stretch("C01", noon, end.Add(26*time.Hour).Sub(noon), 1, drawn(when))
		wrong := wrote(ingest.Inoculate, when, when, map[string]ingest.Value{"lot": ingest.Text("WRONG")})
		right := wrote(ingest.Harvest, when, when, map[string]ingest.Value{"volume_l": ingest.Num(7), "refilled": ingest.Bool(true)})
		past := func(_ string, from, to time.Time) iter.Seq2[ingest.Reading, error] {
			return func(yield func(ingest.Reading, error) bool) {
				for _, x := range all {
					if !x.At.Before(from) && x.At.Before(to) && !yield(x, nil) {
						return
					}
				}
			}
		}
		run := func(entries ...ingest.Entry) *Room {
			o := options("C01")
			o.Past = past
			r := New(o)
			r.Digest(entriesOnly(started("C01", noon)), noon)
			for _, x := range all {
				if !x.At.Before(when) {
					r.Digest(entriesOnly(entries[0]), noon)
				}
				if !x.At.Before(end) {
					r.Digest(entriesOnly(entries...), noon)
				}
				r.Digest(ingest.Batch{Readings: []ingest.Reading{x}}, noon)
			}
			return r
		}
		withdrawn := run(wrong, right, wrote(ingest.Withdraw, when, end, map[string]ingest.Value{"entry": ingest.Text(wrong.ID())}))
		never := run(right)
		if a, b := memoryOf(withdrawn), memoryOf(never); a != b {
			t.Errorf("withdrawn after %v:\n%s\nwritten rightly:\n%s", after, a, b)
		}
		if lot := withdrawn.Views()[0].Estimate.Lot; lot != "lot of C01" {
			t.Errorf("after %v: the lot is %q", after, lot)
		}
	}
}

// Without a past to read, a correction of long ago still tells the truth of
// the lot.
func TestCorrectionWithoutPast(t *testing.T) {
	r := New(options("C01"))
	r.Digest(entriesOnly(started("C01", noon)), noon)
	digest(r, stretch("C01", noon, 30*time.Hour, 1, nil), 300)
	end := wrote(ingest.End, noon.Add(20*time.Hour), noon.Add(30*time.Hour), nil)
	r.Digest(entriesOnly(end, wrote(ingest.Correct, noon.Add(21*time.Hour), noon.Add(31*time.Hour), map[string]ingest.Value{"entry": ingest.Text(end.ID())})), noon)
	if v := r.Views()[0]; v.Estimate.Phase == analysis.Exponential && len(v.Findings) > 0 {
		t.Errorf("a lot that has ended is %s with %v", v.Estimate.Phase, v.Findings)
	}
}

// A correction brought twice, or before what it corrects, changes nothing more.
func TestCorrectionInAnyOrder(t *testing.T) {
	when := noon.Add(26 * time.Hour)
	start := started("C01", noon)
	harvest := wrote(ingest.Harvest, when, when, map[string]ingest.Value{"volume_l": ingest.Num(7)})
	fix := wrote(ingest.Correct, when.Add(-time.Hour), when.Add(time.Hour), map[string]ingest.Value{"entry": ingest.Text(harvest.ID()), "volume_l": ingest.Num(5)})
	run := func(order ...ingest.Entry) string {
		r := New(options("C01"))
		r.Digest(entriesOnly(start), noon)
		before, after := split(stretch("C01", noon, 30*time.Hour, 1, drawn(when)), when.Add(10*time.Minute))
		digest(r, before, 300)
		for _, e := range order {
			r.Digest(entriesOnly(e), noon)
		}
		digest(r, after, 300)
		return memoryOf(r)
	}
	want := run(harvest, fix)
	for i, order := range [][]ingest.Entry{{fix, harvest}, {harvest, fix, fix, harvest}} {
		if got := run(order...); got != want {
			t.Errorf("order %d:\n%s\nwant\n%s", i, got, want)
		}
	}
}

// A harvest siphoned off over an hour, in fits and starts, is no crash: not
// when it is written down while it goes on, nor when it is over.
func TestSlowHarvestWakesNobody(t *testing.T) {
	when := noon.Add(3*24*time.Hour + 5*time.Hour) // 17:00, done at six
	slow := func(at time.Time, v map[ingest.Quantity]float64) {
		done := min(max(at.Sub(when).Hours(), 0), 1)
		done = math.Floor(done*4) / 4
		v[unit.OD] *= 1 - 0.4*done
	}
	for _, written := range []time.Duration{0, 10 * time.Minute, time.Hour} {
		r := New(options("C01"))
		r.Digest(entriesOnly(started("C01", noon)), noon)
		before, after := split(stretch("C01", noon, 4*24*time.Hour, 1, slow), when.Add(written))
		out := digest(r, before, 50)
		harvest := wrote(ingest.Harvest, when.Add(written), when.Add(written), map[string]ingest.Value{"volume_l": ingest.Num(7), "refilled": ingest.Bool(true)})
		dose := wrote(ingest.Dose, when.Add(written+5*time.Minute), when.Add(written+5*time.Minute), map[string]ingest.Value{"a_ml": ingest.Num(7)})
		out.add(r.Digest(entriesOnly(harvest, dose), noon))
		out.add(digest(r, after, 50))
		if len(out.Calls) != 0 {
			t.Errorf("written after %v: %v", written, raised(out))
		}
	}
}
