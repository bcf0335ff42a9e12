package logbook

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

func sprint(v any) string { return fmt.Sprintf("%+v", v) }

func codes(doubts []Doubt) string {
	var out []string
	for _, d := range doubts {
		out = append(out, d.Code)
	}
	return strings.Join(out, " ")
}

// ready is a vessel that may be inoculated, step by step as at the carboy.
var ready = []string{"C08 clean", "C08 chlorinate 9ml", "C08 neutralise 2ml", "C08 dump", "C08 rinse", "C08 acid_rinse", "C08 rinse",
	"C08 fill 18L", "C08 chlorinate 9ml --contact 1h", "C08 neutralise 2ml", "C08 chlorine_test 0 --method strip", "C08 dose --a 18ml --b 18ml"}

func without(lines []string, leave string) []string {
	var out []string
	for _, l := range lines {
		if !strings.HasPrefix(l, leave) {
			out = append(out, l)
		}
	}
	return out
}

func TestGuards(t *testing.T) {
	const start = "C08 inoculate 1.8L --lot N --strain tisochrysis-lutea --donor T1 --taken-out 1.8L"
	late := monday.Add(12 * 24 * time.Hour)
	for _, tt := range []struct {
		name   string
		before []string
		entry  string
		want   string
	}{
		{"all in order", ready, start, ""},
		{"never tested", without(ready, "C08 chlorine_test"), start, "chlorine_untested"},
		{"tested before the thiosulfate only", append(without(ready, "C08 chlorine_test"), "C08 chlorine_test 0", "C08 neutralise 1ml"), start, "chlorine_untested"},
		{"topped up after the test", append(ready[:len(ready):len(ready)], "C08 top_up 1L"), start, "chlorine_untested"},
		{"test found some", append(without(ready, "C08 chlorine_test"), "C08 chlorine_test 0.5mg/L"), start, "chlorine_found"},
		{"nothing written", nil, start, "chlorine_untested dose_missing"},
		{"heated and never bleached", []string{"C08 fill 18L --treated autoclaved", "C08 dose --a 18ml --b 18ml"}, start, ""},
		{"heated, then bleached", []string{"C08 fill 18L --treated autoclaved", "C08 chlorinate 9ml", "C08 dose --a 18ml --b 18ml"}, start, "chlorine_untested"},
		{"holds a lot", append(ready[:len(ready):len(ready)], "C08 inoculate 1.8L --lot M"), start, "vessel_taken"},
		{"no nutrients", without(ready, "C08 dose"), start, "dose_missing"},
		{"parts differ", append(without(ready, "C08 dose"), "C08 dose --a 18ml --b 9ml"), start, "dose_unequal"},
		{"other strain", ready, strings.Replace(start, "tisochrysis-lutea", "nannochloropsis-oculata", 1), "donor_strain"},
		{"more in than out", ready, strings.Replace(start, "--taken-out 1.8L", "--taken-out 1L", 1), "volume"},
		{"nothing taken out of a full one", ready, strings.Replace(start, " --taken-out 1.8L", "", 1), "volume"},
		{"name taken", ready, strings.Replace(start, "--lot N", "--lot T2", 1), "lot_name_taken"},
		{"donor contaminated", append(ready[:len(ready):len(ready)], "C05 look --contaminated"), start, "donor_tainted"},
		{"donor contaminated cannot be looked away", append(ready[:len(ready):len(ready)], "C05 look --contaminated", "C05 look --clean"), start, "donor_tainted"},
		{"donor's daughter crashed", append(ready[:len(ready):len(ready)], "C07 end crash"), start, "donor_tainted"},
		{"and it was looked at", append(ready[:len(ready):len(ready)], "C07 end crash", "C05 look --clean"), start, ""},
		{"donor's parent crashed", append(ready[:len(ready):len(ready)], "F01 end contaminated"), start, "donor_tainted"},
		{"donor over", append(append([]string{"C05 end harvested"}, make24h()...), ready...), start, "donor_over"},
		{"dosed twice", ready, "C08 dose --a 18ml --b 18ml", "dosed_already"},
		{"dosed twice and meant", ready, "C08 dose --a 18ml --b 18ml --again", ""},
		{"acid on thiosulfate", ready[:4], "C08 acid_rinse", "thiosulfate_left"},
		{"acid on bleach", ready[:2], "C08 acid_rinse", "bleach_left"},
		{"acid after a rinse", ready[:5], "C08 acid_rinse", ""},
		{"bleach on acid", ready[:6], "C08 chlorinate 9ml", "acid_left"},
		{"bleach into a lot", nil, "C05 chlorinate 9ml", "vessel_taken"},
		{"thiosulfate too soon", ready[:2], "C08 neutralise 2ml", "soak_short"},
		{"thiosulfate in time", ready[:9], "C08 neutralise 2ml", ""},
		{"filled over a lot", nil, "C05 fill 18L", "vessel_taken"},
		{"more than fits", nil, "C08 fill 25L", "volume"},
		{"harvest from nothing", nil, "C08 harvest 6L", "no_lot"},
		{"harvest of more than there is", nil, "C05 harvest 17L", "volume"},
		{"harvest", nil, "C05 harvest 6L", ""},
		{"bleached again after the test", append(ready[:len(ready):len(ready)], "C08 chlorinate 1ml", "C08 neutralise 1ml"), start, "chlorine_untested"},
		{"a test that shows nothing below 10", append(without(ready, "C08 chlorine_test"), "C08 chlorine_test 0 --limit 10"), start, "chlorine_untested"},
		{"a strip in bleach without thiosulfate", append(ready[:9:9], "C08 chlorine_test 0 --method strip", "C08 dose --a 18ml --b 18ml"), start, "chlorine_untested"},
		{"bleach into a crashed lot, ended, then acid", []string{"C05 chlorinate 50ml", "C05 end crash"}, "C05 acid_rinse", "bleach_left"},
		{"and emptied, then acid", []string{"C05 chlorinate 50ml", "C05 dump"}, "C05 acid_rinse", "bleach_left"},
		{"and rinsed, then acid", []string{"C05 chlorinate 50ml", "C05 dump", "C05 rinse"}, "C05 acid_rinse", ""},
		{"a rinse of a vessel full of bleach, then acid", append(ready[:2:2], "C08 rinse"), "C08 acid_rinse", "bleach_left"},
		{"thiosulfate on acid", ready[:6], "C08 neutralise 2ml", "acid_left"},
		{"rinses of one minute", append(ready[:5:5], "C08 acid_rinse --at 2026-03-14T14:00", "C08 rinse --at 2026-03-14T14:00"), "C08 chlorinate 9ml", ""},
		{"donor by its vessel, just ended contaminated", append(ready[:len(ready):len(ready)], "C05 end contaminated"), strings.Replace(start, "--donor T1", "--donor C05", 1), "donor_tainted"},
		{"A now, B later", without(ready, "C08 dose"), "C08 dose --a 18ml", ""},
		{"B after A", append(without(ready, "C08 dose"), "C08 dose --a 18ml"), "C08 dose --b 18ml", ""},
		{"A and never B", append(without(ready, "C08 dose"), "C08 dose --a 18ml"), start, "dose_unequal"},
		{"dose after a refill", []string{"C05 harvest 6L --refilled"}, "C05 dose --a 6ml --b 6ml", ""},
		{"dose twice after a refill", []string{"C05 harvest 6L --refilled", "C05 dose --a 6ml --b 6ml"}, "C05 dose --a 6ml --b 6ml", "dosed_already"},
		{"0.02 mg/L by DPD", append(without(ready, "C08 chlorine_test"), "C08 chlorine_test 0.02mg/L --method dpd"), start, ""},
		{"0.02 mg/L by a strip", append(without(ready, "C08 chlorine_test"), "C08 chlorine_test 0.02mg/L --method strip"), start, "chlorine_found"},
		{"donor that nobody knows", ready, strings.Replace(start, "--donor T1", "--donor c05", 1), "donor_unknown"},
		{"half a litre of bleach", ready[:8], "C08 chlorinate 500ml", "much_bleach"},
		{"bleach for more than there is", ready[:8], "C08 chlorinate 9ml --volume 50L", "volume"},
		{"a top-up that does not fit", nil, "C05 top_up 9L", "volume"},
		{"thiosulfate into a lot", nil, "C05 neutralise 2ml", "vessel_taken"},
		{"rinse of a lot", nil, "C05 rinse", "vessel_taken"},
		{"cleaned with a lot in it", nil, "C05 clean", "vessel_taken"},
	} {
		b := grown(t)
		b.Add(wrote(t, late, tt.before...)...)
		e := wrote(t, late.Add(time.Duration(len(tt.before))*time.Hour), tt.entry)[0]
		if got := codes(b.Doubts(e, Outside{})); got != tt.want {
			t.Errorf("%s: %q asks %q, want %q", tt.name, tt.entry, got, tt.want)
		}
	}
}

func make24h() []string { return slicesRepeat("C07 remark waiting", 25) }

func slicesRepeat(s string, n int) []string {
	var out []string
	for range n {
		out = append(out, s)
	}
	return out
}

// What is entered late is asked about as things stood then.
func TestGuardsAsOfThen(t *testing.T) {
	b := grown(t)
	b.Add(wrote(t, monday.Add(12*24*time.Hour), ready...)...)
	b.Add(wrote(t, monday.Add(13*24*time.Hour), "C08 inoculate 1.8L --lot N --donor T1 --taken-out 1.8L")...)
	e := wrote(t, monday.Add(12*24*time.Hour+150*time.Minute), "C08 acid_rinse")[0]
	if got := codes(b.Doubts(e, Outside{})); got != "thiosulfate_left" {
		t.Errorf("an acid rinse entered late, between thiosulfate and rinse, asks %q", got)
	}
}

func TestOverruledIsKept(t *testing.T) {
	b := grown(t)
	e := wrote(t, monday.Add(12*24*time.Hour), "C08 inoculate 1.8L --lot N")[0]
	doubts := b.Doubts(e, Outside{})
	e = Overrule(e, doubts, "ana")
	if err := Check(e); err != nil || e.Str(OverruledBy) != "ana" {
		t.Fatalf("overruled entry: %v, %+v", err, e.Fields)
	}
	b.Add(e)
	if l, _ := b.Lot("N"); strings.Join(l.Overruled, " ") != codes(doubts) || len(l.Overruled) == 0 {
		t.Errorf("lot N was started under %q, kept is %q", codes(doubts), l.Overruled)
	}
}

func TestOutsideIsAsked(t *testing.T) {
	b := grown(t)
	late := monday.Add(12 * 24 * time.Hour)
	b.Add(wrote(t, late, ready...)...)
	e := wrote(t, late.Add(20*time.Hour), "C08 inoculate 1.8L --lot N --donor T1 --taken-out 1.8L")[0]
	out := Outside{
		Sick:     []Taint{{Lot: "T2", Why: Crashed, At: late, Suspected: true}},
		PastBest: func(l Lot) string { return l.Name + " is stationary" },
		DoseUnfit: func(medium, strain string, litres float64, parts map[string]float64, whole bool) string {
			return fmt.Sprintf("%v mL for %v L of %s", parts["a"], litres, strain)
		},
	}
	got := b.Doubts(e, out)
	if codes(got) != "donor_tainted donor_past_best dose_unfit" {
		t.Errorf("asks %q", codes(got))
	}
	if last := got[len(got)-1].Says; last != "18 mL for 18 L of tisochrysis-lutea" {
		t.Errorf("the dose is held against %q", last)
	}
	// A close look clears a suspicion.
	b.Add(wrote(t, late.Add(19*time.Hour), "C05 look --clean")...)
	if got := codes(b.Doubts(e, out)); got != "donor_past_best dose_unfit" {
		t.Errorf("after a look: asks %q", got)
	}
}

func TestCycle(t *testing.T) {
	b := book(wrote(t, monday, ready...))
	at := func(i int) time.Time { return monday.Add(time.Duration(i) * time.Hour) }
	for i, s := range b.Vessel("C08").Cycle.Steps() {
		switch {
		case i < 12 && !s.Done.Equal(at(i)):
			t.Errorf("step %d (%s) done %v, want %v", i, s.Title, s.Done, at(i))
		case i == 12 && (!s.Next || s.Kind != ingest.Inoculate):
			t.Errorf("next is %+v, want the inoculum", s)
		}
	}
	// The day of the bleach, and the minutes of the thiosulfate.
	for n, want := range map[int]time.Time{2: at(1).Add(24 * time.Hour), 9: at(8).Add(time.Hour), 10: at(9).Add(10 * time.Minute), 3: {}} {
		steps := book(wrote(t, monday, ready[:n]...)).Vessel("C08").Cycle.Steps()
		if s := steps[n]; !s.Next || !s.Due.Equal(want) {
			t.Errorf("after %d steps: %+v, want it next and due %v", n, s, want)
		}
	}
	// Water is bleached in the vessel and poured out again: that was the first soak.
	steps := book(wrote(t, monday, "C08 fill 18L", "C08 chlorinate 9ml", "C08 neutralise 2ml", "C08 dump")).Vessel("C08").Cycle.Steps()
	if steps[1].Done.IsZero() || steps[2].Done.IsZero() || !steps[4].Next || !steps[0].Skipped || !steps[8].Done.IsZero() {
		t.Errorf("after the first soak: %+v", steps)
	}
	// An end begins it anew.
	b.Add(wrote(t, monday.Add(20*time.Hour), "C08 inoculate 1.8L --lot N", "C08 set 2L/min", "C08 end harvested")...)
	if s := b.Vessel("C08").Cycle.Steps()[0]; !s.Next || !s.Done.IsZero() {
		t.Errorf("after an end: %+v", s)
	}
}

// What a device writes is not asked about; the lot keeps what stood against it.
func TestUnaskedDoubtsAreKept(t *testing.T) {
	b := grown(t)
	late := monday.Add(12 * 24 * time.Hour)
	b.Add(wrote(t, late, "C08 inoculate 1.8L --lot N --donor T1")...)
	if l, _ := b.Lot("N"); codes(l.Unasked) != "chlorine_untested dose_missing" {
		t.Errorf("lot N was started against %q", codes(l.Unasked))
	}
	b.Add(wrote(t, late.Add(time.Hour), ready...)...)
	b.Add(wrote(t, late.Add(20*time.Hour), "C08 inoculate 1.8L --lot M --donor T1 --taken-out 1.8L")...)
	if l, _ := b.Lot("M"); len(l.Unasked) != 0 {
		t.Errorf("lot M was started against %q, though all was in order", codes(l.Unasked))
	}
}

// That the donor was sick was found after the transfer: it counts all the same.
func TestDonorFoundSickAfterwards(t *testing.T) {
	b := grown(t)
	late := monday.Add(12 * 24 * time.Hour)
	b.Add(wrote(t, late, ready...)...)
	b.Add(wrote(t, late.Add(30*time.Hour), "C05 look --contaminated")...)
	e := wrote(t, late.Add(20*time.Hour), "C08 inoculate 1.8L --lot N --donor T1 --taken-out 1.8L")[0]
	if got := codes(b.Doubts(e, Outside{})); got != "donor_tainted" {
		t.Errorf("a donor found contaminated ten hours later asks %q", got)
	}
}
