package logbook

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

var monday = time.Date(2026, time.March, 2, 9, 0, 0, 0, time.UTC)

var shelf = []ingest.Vessel{{Name: "C05", VolumeL: 18}, {Name: "C07", VolumeL: 18}, {Name: "C08", VolumeL: 18}, {Name: "F01", VolumeL: 2}}

// wrote reads entries as they are typed, each an hour after the one before.
func wrote(t *testing.T, from time.Time, lines ...string) []ingest.Entry {
	t.Helper()
	var out []ingest.Entry
	for i, line := range lines {
		at := from.Add(time.Duration(i) * time.Hour)
		e, err := Parse(strings.Fields(line), at, time.UTC)
		if err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		out = append(out, e)
	}
	return out
}

func book(entries ...[]ingest.Entry) *Book {
	b := New(shelf)
	for _, list := range entries {
		b.Add(list...)
	}
	return b
}

// grown is a room with a stock culture, a lot started from it and a daughter.
func grown(t *testing.T) *Book {
	return book(wrote(t, monday,
		"F01 inoculate 0.2L --lot S1 --strain tisochrysis-lutea --medium f/2 --role stock --volume 2L",
		"C05 fill 18L", "C05 chlorinate 9ml --contact 24h",
	), wrote(t, monday.Add(27*time.Hour),
		"C05 neutralise 2ml", "C05 chlorine_test none --method dpd", "C05 dose --a 18ml --b 18ml --medium f/2 --bottle-a N-114",
		"C05 inoculate 1.8L --lot T1 --donor F01 --taken-out 1.8L",
		"C05 set 2L/min",
	), wrote(t, monday.Add(9*24*time.Hour),
		"C05 harvest 6L --refilled --tank rotifers",
		"C07 fill 18L --treated autoclaved", "C07 dose --a 18ml --b 18ml",
		"C07 inoculate 2L --lot T2 --donor T1 --taken-out 2L",
		"C05 harvest 4L",
	))
}

func TestLots(t *testing.T) {
	b := grown(t)
	l, ok := b.Lot("T1")
	if !ok || l.Strain != "tisochrysis-lutea" || l.Donor != "S1" || l.Generation != 2 || l.Medium != "f/2" || l.Role != Working {
		t.Errorf("lot T1 is %+v", l)
	}
	if l.HarvestedL() != 10 || len(l.Given) != 1 || l.Given[0].To != "T2" || l.Doses[0].Bottles["a"] != "N-114" {
		t.Errorf("T1 harvested %v L, gave %+v, dosed %+v", l.HarvestedL(), l.Given, l.Doses)
	}
	if l, _ := b.Lot("T2"); l.Generation != 3 || l.Donor != "T1" || !l.Open(monday.Add(30*24*time.Hour)) {
		t.Errorf("lot T2 is %+v", l)
	}
	if k := b.Kin("S1"); !slices.Equal(k.Daughters, []string{"T1", "T2"}) || k.Ancestors != nil {
		t.Errorf("kin of S1: %+v", k)
	}
	if k := b.Kin("T2"); !slices.Equal(k.Ancestors, []string{"T1", "S1"}) {
		t.Errorf("kin of T2: %+v", k)
	}
}

// Volumes: 18 in, 1.8 out and 1.8 in, a harvest with refill changes nothing,
// 2 given to another and 4 harvested leave 12.
func TestVolumes(t *testing.T) {
	b := grown(t)
	if v := b.Vessel("C05"); !v.Known || math.Abs(v.FilledL-12) > 1e-9 {
		t.Errorf("C05 holds %v L, want 12", v.FilledL)
	}
	if v := b.Vessel("C07"); math.Abs(v.FilledL-18) > 1e-9 {
		t.Errorf("C07 holds %v L, want 18: what came out went in", v.FilledL)
	}
	if v := b.Vessel("C99"); v.Known || v.Name != "C99" {
		t.Errorf("a vessel that nobody wrote of: %+v", v)
	}
}

// What the corpus of a room would say, in whatever order it is written.
func TestOrderOfWritingDoesNotMatter(t *testing.T) {
	want := grown(t)
	entries := slices.Clone(want.raw)
	slices.Reverse(entries)
	if got := book(entries); !reflect.DeepEqual(show(got), show(want)) {
		t.Errorf("written backwards:\n%s\nin order:\n%s", show(got), show(want))
	}
}

func TestCorrection(t *testing.T) {
	b := grown(t)
	harvest := b.Entries("C05", time.Time{}, time.Time{})
	last := harvest[len(harvest)-1]
	c := wrote(t, monday.Add(10*24*time.Hour), "C05 correct "+last.ID[:8]+" --volume 3L --at 2026-03-11T12:30")[0]
	c, err := b.Settle(c)
	if err != nil {
		t.Fatal(err)
	}
	b.Add(c)
	if v := b.Vessel("C05"); math.Abs(v.FilledL-13) > 1e-9 {
		t.Errorf("C05 holds %v L after the correction, want 13", v.FilledL)
	}
	again := b.Entries("C05", time.Time{}, time.Time{})
	if n := again[len(again)-1]; n.ID != last.ID || len(n.Corrected) != 1 || !n.At.Equal(time.Date(2026, 3, 11, 12, 30, 0, 0, time.UTC)) {
		t.Errorf("the entry now: %+v", n)
	}
	w, err := b.Settle(wrote(t, monday.Add(11*24*time.Hour), "C05 withdraw "+last.ID[:8])[0])
	if err != nil {
		t.Fatal(err)
	}
	b.Add(w)
	if v := b.Vessel("C05"); math.Abs(v.FilledL-16) > 1e-9 {
		t.Errorf("C05 holds %v L after the withdrawal, want 16", v.FilledL)
	}
	// A withdrawal that is withdrawn: it stands again, as corrected.
	back := wrote(t, monday.Add(12*24*time.Hour), "C05 withdraw "+w.ID())[0]
	if back, err = b.Settle(back); err != nil {
		t.Fatal(err)
	}
	b.Add(back)
	if v := b.Vessel("C05"); math.Abs(v.FilledL-13) > 1e-9 {
		t.Errorf("C05 holds %v L after the withdrawal was withdrawn, want 13", v.FilledL)
	}
}

func TestCorrectionIsChecked(t *testing.T) {
	b := grown(t)
	id := b.Entries("C05", time.Time{}, time.Time{})[0].ID
	for line, want := range map[string]string{
		"C05 correct " + id + " --volume -3L":   "volume",
		"C05 correct abcdef --volume 3L":        "no entry has an id",
		"C05 correct ab --volume 3L":            "too short",
		"C08 correct " + id + " --volume 3L":    "is of vessel",
		"C05 correct " + id + " --treated beer": "must be one of",
	} {
		e, err := Parse(strings.Fields(line), monday, time.UTC)
		if err == nil {
			_, err = b.Settle(e)
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want one with %q", line, err, want)
		}
	}
}

func show(b *Book) string {
	var s strings.Builder
	for _, v := range shelf {
		s.WriteString(strings.ReplaceAll(sprint(b.Vessel(v.Name)), "\n", " ") + "\n")
	}
	for _, l := range b.Lots() {
		s.WriteString(sprint(l) + "\n")
	}
	return s.String()
}

// Donors that name each other, which only a slip of the pen can do, end.
func TestCircleOfDonors(t *testing.T) {
	b := book(wrote(t, monday, "C05 inoculate 1L --lot B --donor A", "C07 inoculate 1L --lot A --donor B", "C08 inoculate 1L --lot C --donor A",
		"C05 end crash", "C07 end crash"))
	if k := b.Kin("A"); !slices.Contains(k.Daughters, "C") {
		t.Errorf("kin of A: %+v", k)
	}
	for _, l := range []string{"A", "B", "C"} {
		if len(b.Taints(l)) == 0 {
			t.Errorf("lot %s is not tainted", l)
		}
	}
}

// A correction that comes before its entry holds as it does after a restart.
func TestCorrectionBeforeItsEntry(t *testing.T) {
	entries := grown(t).raw
	last := entries[len(entries)-1]
	fix := ingest.Entry{Vessel: "C05", Kind: ingest.Correct, At: last.At, Written: last.Written.Add(time.Hour),
		Fields: map[string]ingest.Value{"entry": ingest.Text(last.ID()), "volume_l": ingest.Num(2)}}
	live := book(entries[:len(entries)-1])
	live.Add(fix)
	live.Vessel("C05") // somebody looks in between
	live.Add(last)
	if a, b := show(live), show(book(append(slices.Clone(entries), fix))); a != b {
		t.Errorf("live:\n%s\nafter a restart:\n%s", a, b)
	}
}

// What another vessel's entry says cannot be taken back from here.
func TestWithdrawalOfAnotherVessel(t *testing.T) {
	b := grown(t)
	l, _ := b.Lot("T2")
	start := b.Entries("C07", l.Inoculated, time.Time{})[0]
	b.Add(ingest.Entry{Vessel: "C05", Kind: ingest.Withdraw, At: start.At, Written: start.Written, Fields: map[string]ingest.Value{"entry": ingest.Text(start.ID)}})
	if _, ok := b.Lot("T2"); !ok {
		t.Error("C05 withdrew the lot of C07")
	}
}

// A correction of why a lot ended taints; of a sample it may speak in the
// other unit; of a chlorine test it may say none.
func TestCorrectionsOfAllKinds(t *testing.T) {
	b := grown(t)
	late := monday.Add(12 * 24 * time.Hour)
	b.Add(wrote(t, late, "C07 end harvested", "C05 sample 50ml", "C08 chlorine_test 2mg/L --method strip")...)
	id := func(vessel string) string {
		all := b.Entries(vessel, late, time.Time{})
		return all[len(all)-1].ID[:8]
	}
	for line, want := range map[string]string{
		"C07 correct " + id("C07") + " --reason crash":  "ended: because crash",
		"C05 correct " + id("C05") + " --volume 500ml":  "sample taken: volume 500 mL",
		"C08 correct " + id("C08") + " --chlorine none": "chlorine test: chlorine found 0 mg/L, method strip",
	} {
		e, err := Parse(strings.Fields(line), late.Add(5*time.Hour), time.UTC)
		if err == nil {
			e, err = b.Settle(e)
		}
		if err != nil {
			t.Errorf("%s: %v", line, err)
			continue
		}
		b.Add(e)
		n, _ := b.Find(e.Str("entry"))
		if got := Sentence(n.Entry); got != want {
			t.Errorf("%s: now %q, want %q", line, got, want)
		}
	}
	if len(b.Taints("T1")) == 0 {
		t.Error("a crash that was corrected into the book taints nobody")
	}
}

// What a correction comes to is asked about like what is new.
func TestCorrectionIsAsked(t *testing.T) {
	b := grown(t)
	l, _ := b.Lot("T2")
	start := b.Entries("C07", l.Inoculated, time.Time{})[0]
	e, err := b.Settle(wrote(t, monday.Add(20*24*time.Hour), "C07 correct "+start.ID[:8]+" --strain nannochloropsis-oculata")[0])
	if err != nil {
		t.Fatal(err)
	}
	if got := codes(b.Doubts(e, Outside{})); got != "donor_strain" {
		t.Errorf("another strain than the donor's: asks %q", got)
	}
}

// A tap that was repeated because the first seemed lost.
func TestSameAgainIsAsked(t *testing.T) {
	b := grown(t)
	at := monday.Add(12 * 24 * time.Hour)
	harvest := func(at time.Time) ingest.Entry { return wrote(t, at, "C05 harvest 2L")[0] }
	b.Add(harvest(at))
	for after, want := range map[time.Duration]string{20 * time.Second: "written_already", time.Hour: ""} {
		if got := codes(b.Doubts(harvest(at.Add(after)), Outside{})); got != want {
			t.Errorf("the same after %v asks %q, want %q", after, got, want)
		}
	}
}

// Lots from outside are no kin of each other.
func TestStrangersAreNoSisters(t *testing.T) {
	b := book(wrote(t, monday, "C05 inoculate 1L --lot A --donor outside", "C07 inoculate 1L --lot B --donor outside", "C05 end crash"))
	if got := b.Taints("B"); len(got) != 0 {
		t.Errorf("B is tainted by %+v", got)
	}
}

// A test that found chlorine is no step done, nor is one before the thiosulfate.
func TestFailedTestIsNoStep(t *testing.T) {
	for _, lines := range [][]string{
		append(ready[:10:10], "C08 chlorine_test 0.2mg/L --method dpd", "C08 neutralise 1ml"),
		append(ready[:10:10], "C08 chlorine_test 0.5mg/L", "C08 neutralise 1ml"),
		append(ready[:11:11], "C08 neutralise 1ml"),
	} {
		for i, s := range book(wrote(t, monday, lines...)).Vessel("C08").Cycle.Steps() {
			if s.Next && s.Kind != ingest.ChlorineTest {
				t.Errorf("after %q step %d is next: %s", lines[len(lines)-1], i, s.Title)
			}
		}
	}
}

// After a test that found some, thiosulfate is due again, at once.
func TestThiosulfateAfterAFailedTest(t *testing.T) {
	steps := book(wrote(t, monday, append(ready[:10:10], "C08 chlorine_test 0.5mg/L")...)).Vessel("C08").Cycle.Steps()
	if s := steps[9]; !s.Next || s.Kind != ingest.Neutralise || !s.Due.IsZero() {
		t.Errorf("next is %+v", s)
	}
	// What a method sees that is so fine, and is that little, does no harm.
	steps = book(wrote(t, monday, append(ready[:10:10], "C08 chlorine_test 0.02mg/L --method dpd")...)).Vessel("C08").Cycle.Steps()
	if s := steps[11]; !s.Next {
		t.Errorf("after 0.02 mg/L by DPD next is not the dose: %+v", s)
	}
}

// A dose is whole with both of its parts.
func TestPartAIsNoDose(t *testing.T) {
	steps := book(wrote(t, monday, append(ready[:11:11], "C08 dose --a 18ml")...)).Vessel("C08").Cycle.Steps()
	if s := steps[11]; !s.Next {
		t.Errorf("after part A alone next is not the dose: %+v", s)
	}
}

// A clock that was read is rounded, up as well as down.
func TestRoundedUpClock(t *testing.T) {
	now := time.Date(2026, 11, 25, 17, 39, 40, 0, time.UTC)
	at, err := Moment("17:40", now, time.UTC)
	if err != nil || at.Day() != 25 {
		t.Errorf("17:40 at 17:39:40 is %v, %v", at, err)
	}
}
