package logbook

import (
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/ingest"
)

// anyValue draws a value that the field takes, and now and then one it does not.
func anyValue(t *rapid.T, f Field) ingest.Value {
	if rapid.IntRange(0, 19).Draw(t, "wild") == 0 {
		return rapid.SampledFrom([]ingest.Value{ingest.Num(-1), ingest.Num(1e300), ingest.Text("?"), ingest.Bool(true)}).Draw(t, "value")
	}
	switch f.Form {
	case 'f':
		return ingest.Num(rapid.Float64Range(f.Low, min(f.High, 40)).Draw(t, f.Name))
	case 'b':
		return ingest.Bool(rapid.Bool().Draw(t, f.Name))
	}
	if len(f.Words) > 0 {
		return ingest.Text(rapid.SampledFrom(f.Words).Draw(t, f.Name))
	}
	return ingest.Text(rapid.SampledFrom([]string{"", "T1", "T2", "C07", "C08", "1:0.8,0.5:0.4", "x"}).Draw(t, f.Name))
}

// anyEntries draws a logbook: any kinds in any order of writing, with
// corrections and withdrawals of those before.
func anyEntries(t *rapid.T) []ingest.Entry {
	var out []ingest.Entry
	for range rapid.IntRange(0, 40).Draw(t, "entries") {
		e := ingest.Entry{
			Vessel:  rapid.SampledFrom([]string{"C05", "C07", "C08"}).Draw(t, "vessel"),
			Kind:    rapid.SampledFrom(ingest.Kinds).Draw(t, "kind"),
			At:      monday.Add(time.Duration(rapid.IntRange(0, 60).Draw(t, "at")) * time.Hour),
			Written: monday.Add(time.Duration(rapid.IntRange(0, 60).Draw(t, "written")) * time.Hour),
			Fields:  map[string]ingest.Value{},
		}
		form, _ := FormOf(e.Kind)
		for _, f := range append(form.Fields, common...) {
			if rapid.Bool().Draw(t, "say") {
				e.Fields[f.Name] = anyValue(t, f)
			}
		}
		if e.Kind == ingest.Correct || e.Kind == ingest.Withdraw {
			if len(out) == 0 {
				continue
			}
			e.Fields["entry"] = ingest.Text(rapid.SampledFrom(out).Draw(t, "about").ID())
		}
		out = append(out, e)
	}
	return out
}

func TestAnyLogbookFolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := anyEntries(t)
		kept := entries[:0:0]
		for _, e := range entries {
			if Check(e) == nil {
				kept = append(kept, e)
			}
		}
		one := New(shelf)
		for _, e := range kept { // one by one, asked about in between
			one.Doubts(e, Outside{})
			one.Add(e)
			one.Vessel(e.Vessel)
		}
		all := New(shelf)
		all.Add(rapid.Permutation(kept).Draw(t, "order")...)
		all.Add(kept...) // brought again
		if a, b := show(one), show(all); a != b {
			t.Fatalf("one by one:\n%s\nall at once, in another order:\n%s", a, b)
		}
		for _, v := range shelf {
			if got := all.Vessel(v.Name); !(got.FilledL >= 0) || got.FilledL > 2*mostL {
				t.Fatalf("%s holds %v L", v.Name, got.FilledL)
			}
		}
		open := map[string]bool{}
		for _, l := range all.Lots() {
			if l.Ended.IsZero() && open[l.Vessel] {
				t.Fatalf("two lots grow in %s", l.Vessel)
			}
			open[l.Vessel] = open[l.Vessel] || l.Ended.IsZero()
			if !l.Ended.IsZero() && l.Ended.Before(l.Inoculated) {
				t.Fatalf("lot %s ended before it began", l.Name)
			}
			all.Kin(l.Name)
			all.Taints(l.Name)
		}
	})
}

// Withdrawing an entry makes the book that never had it.
func TestWithdrawnIsAsIfNeverWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var kept []ingest.Entry
		for _, e := range anyEntries(t) {
			if Check(e) == nil && e.Kind != ingest.Correct && e.Kind != ingest.Withdraw {
				kept = append(kept, e)
			}
		}
		if len(kept) == 0 {
			return
		}
		i := rapid.IntRange(0, len(kept)-1).Draw(t, "which")
		with := book(kept)
		id := kept[i].ID()
		with.Add(ingest.Entry{Vessel: kept[i].Vessel, Kind: ingest.Withdraw, At: kept[i].At, Written: monday.Add(100 * time.Hour),
			Fields: map[string]ingest.Value{"entry": ingest.Text(id)}})
		var rest []ingest.Entry
		for _, e := range kept {
			if e.ID() != id {
				rest = append(rest, e)
			}
		}
		if a, b := show(with), show(book(rest)); a != b {
			t.Fatalf("withdrawn:\n%s\nnever written:\n%s", a, b)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"C07 harvest 6L --refilled --at 17:40", "C07 count 2.1e6/ml", "C07 remark a b", "C07 correct abcdef --volume 3L", "a b", "C07 dose --a 5ml --c=3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, line string) {
		e, err := Parse(split(line), monday, time.UTC)
		if err == nil && e.At.IsZero() && e.Kind != ingest.Correct && e.Kind != ingest.Withdraw {
			t.Fatalf("%q happened never: %+v", line, e)
		}
		if err == nil {
			_ = Sentence(e)
			b := book([]ingest.Entry{e})
			b.Doubts(e, Outside{})
		}
	})
}

func split(s string) []string {
	var out []string
	word := ""
	for _, r := range s + " " {
		if r == ' ' {
			if word != "" {
				out = append(out, word)
			}
			word = ""
			continue
		}
		word += string(r)
	}
	return out
}

// A few years of sixty vessels: every start from the lot before it, a tenth of
// them from one stock culture, a few of them sick.
func BenchmarkFold(b *testing.B) {
	var entries []ingest.Entry
	for i := range 10_000 {
		at := monday.Add(time.Duration(i) * time.Hour)
		vessel := "C" + string(rune('0'+i%60))
		donor := "L" + itoa(max(i-60, 0))
		if i%10 == 0 {
			donor = "L0"
		}
		e := func(k ingest.Kind, minutes int, fields map[string]ingest.Value) {
			entries = append(entries, ingest.Entry{Vessel: vessel, Kind: k, At: at.Add(time.Duration(minutes) * time.Minute), Written: at, Fields: fields})
		}
		e(ingest.End, 0, map[string]ingest.Value{"reason": ingest.Text([]string{Harvested, Crashed}[btoi(i%500 == 0)])})
		e(ingest.Fill, 1, nil)
		e(ingest.ChlorineTest, 2, map[string]ingest.Value{"chlorine_mg_l": ingest.Num(0)})
		e(ingest.Inoculate, 3, map[string]ingest.Value{"lot": ingest.Text("L" + itoa(i)), "donor": ingest.Text(donor)})
	}
	b.ReportAllocs()
	for b.Loop() {
		book := New(nil)
		book.Add(entries...)
		if n := len(book.Lots()); n != 10_000 {
			b.Fatal(n)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(entries)), "ns/entry")
}

func itoa(i int) string { return strconv.Itoa(i) }

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
