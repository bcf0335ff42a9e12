package storetest

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

func counts(t *testing.T, open Opener) {
	s := opened(t, open)
	a, b := reading("C07", unit.OD, 0.412, 0), reading("C07", unit.Temperature, 21.3, 0)
	same(t, "first", keep(t, s, batch(a, b, a)), ingest.Kept{Seq: 1, Stored: 2, Duplicates: 1})
	same(t, "again", keep(t, s, batch(a, b)), ingest.Kept{Seq: 2, Duplicates: 2})
	s = reopened(t, s, open)
	late := reading("C07", unit.OD, 0.4, -time.Minute)
	same(t, "after a restart", keep(t, s, batch(b, late)), ingest.Kept{Seq: 3, Stored: 1, Duplicates: 1})

	var many []ingest.Reading
	for i := range 777 { // more than one statement, and an odd rest
		many = append(many, reading("C08", unit.OD, float64(i), time.Duration(i)*time.Second))
	}
	slices.Reverse(many)
	all := must(s.AppendAll(t.Context(), []ingest.Batch{batch(many...), {}, batch(many[:300]...)}))(t)
	same(t, "several", all, []ingest.Kept{{Seq: 4, Stored: 777}, {}, {Seq: 5, Duplicates: 300}})
	same(t, "none", must(s.AppendAll(t.Context(), nil))(t), []ingest.Kept{})

	total := must(s.Totals(t.Context()))(t)
	if total.Readings != 780 || total.Vessels != 2 {
		t.Errorf("totals %+v, want 780 readings of 2 vessels", total)
	}
	same(t, "vessels", must(s.Vessels(t.Context()))(t), []store.Seen{
		{Name: "C07", First: at(-time.Minute), Last: at(0), Readings: 3},
		{Name: "C08", First: at(0), Last: at(776 * time.Second), Readings: 777}})
}

func keptOnce(t *testing.T, open Opener) {
	s := opened(t, open)
	first := reading("C07", unit.OD, 0.412, 0)
	other := first
	other.Value = 0.9
	finer := first
	finer.At = finer.At.Add(900 * time.Microsecond) // cut, not rounded
	same(t, "kept", keep(t, s, batch(first, other, finer)), ingest.Kept{Seq: 1, Stored: 1, Duplicates: 2})
	keep(t, s, batch(other))
	same(t, "the first value stays", collect(t, s.Readings(t.Context(), store.Range{Vessel: "C07"})), []ingest.Reading{first})
	same(t, "newest", must(s.Newest(t.Context(), "C07"))(t), []ingest.Reading{first})
}

func order(t *testing.T, open Opener) {
	s := opened(t, open)
	late, early := reading("Regal 2 / links", unit.OD, 2, time.Hour), reading("Regal 2 / links", unit.OD, 1, 0)
	warm := reading("Regal 2 / links", unit.Temperature, 20, 0)
	other := reading("A1", unit.OD, 3, time.Hour)
	keep(t, s, batch(late, warm, early, other))
	same(t, "all of one", collect(t, s.Readings(t.Context(), store.Range{Vessel: "Regal 2 / links"})), []ingest.Reading{early, warm, late})
	same(t, "one quantity", collect(t, s.Readings(t.Context(), store.Range{Vessel: "Regal 2 / links", Quantity: unit.OD})), []ingest.Reading{early, late})
	same(t, "every vessel", collect(t, s.Between(t.Context(), time.Time{}, time.Time{})), []ingest.Reading{early, warm, other, late})
	same(t, "nobody", collect(t, s.Readings(t.Context(), store.Range{Vessel: "Z9"})), []ingest.Reading{})
	// A name that needs care in a query is a name like any other.
	odd := reading(`'; drop table tail; -- "é%_`, unit.OD, 4, 0)
	keep(t, s, batch(odd))
	same(t, "odd name", collect(t, s.Readings(t.Context(), store.Range{Vessel: odd.Vessel})), []ingest.Reading{odd})
}

func ranges(t *testing.T, open Opener) {
	s := opened(t, open)
	var all []ingest.Reading
	for i := range 200 { // 50 hours
		all = append(all, reading("C07", unit.OD, float64(i), time.Duration(i)*15*time.Minute))
	}
	keep(t, s, batch(all...))
	must(s.Pack(t.Context(), at(30*time.Hour)))(t)
	for _, c := range []struct{ from, to int }{{0, 200}, {3, 4}, {3, 3}, {5, 150}, {119, 121}, {120, 200}, {7, 3}} {
		from, to := at(time.Duration(c.from)*15*time.Minute), at(time.Duration(c.to)*15*time.Minute)
		want := []ingest.Reading{}
		if c.from < c.to {
			want = all[c.from:c.to]
		}
		same(t, "one vessel", collect(t, s.Readings(t.Context(), store.Range{Vessel: "C07", From: from, To: to})), want)
		same(t, "between", collect(t, s.Between(t.Context(), from, to)), want)
	}
	same(t, "open end", collect(t, s.Between(t.Context(), all[190].At, time.Time{})), all[190:])
	same(t, "open start", collect(t, s.Readings(t.Context(), store.Range{Vessel: "C07", To: all[9].At})), all[:9])
}

func exact(t *testing.T, open Opener) {
	s := opened(t, open)
	values := []float64{0, 0.1, -127, 85, 1e-300, math.MaxFloat64, math.SmallestNonzeroFloat64, 1.0 / 3, 1 << 53, -4503599627370497.5}
	var all []ingest.Reading
	for i, v := range values {
		all = append(all, reading("C07", unit.OD, v, time.Duration(i)*time.Millisecond))
	}
	keep(t, s, batch(all...))
	same(t, "loose", collect(t, s.Between(t.Context(), time.Time{}, time.Time{})), all)
	must(s.Pack(t.Context(), at(time.Hour)))(t)
	same(t, "packed", collect(t, s.Between(t.Context(), time.Time{}, time.Time{})), all)
}

func newest(t *testing.T, open Opener) {
	s := opened(t, open)
	a, b := reading("C07", unit.OD, 1, time.Hour), reading("C07", unit.Light, 2, 0)
	keep(t, s, batch(a, b, reading("C07", unit.OD, 3, 0), reading("C08", unit.OD, 4, 2*time.Hour)))
	same(t, "newest", must(s.Newest(t.Context(), "C07"))(t), []ingest.Reading{a, b})
	same(t, "nobody", must(s.Newest(t.Context(), "Z9"))(t), []ingest.Reading{})
}

func series(t *testing.T, open Opener) {
	s := opened(t, open)
	var all []ingest.Reading
	for i := range 240 { // two hours, one of them packed
		all = append(all, reading("C07", unit.OD, float64(i%10), time.Duration(i)*30*time.Second),
			reading("C07", unit.Light, -1, time.Duration(i)*30*time.Second))
	}
	keep(t, s, batch(all...))
	must(s.Pack(t.Context(), at(time.Hour)))(t)
	// 24 stretches of ten readings each, half of them from packs.
	points := must(s.Series(t.Context(), "C07", unit.OD, at(0), at(2*time.Hour), 24))(t)
	if len(points) != 24 {
		t.Fatalf("%d points, want 24: %+v", len(points), points)
	}
	for i, p := range points {
		if p.Readings < 9 || p.Readings > 11 || p.Min != 0 || p.Max < 8 || math.Abs(p.Mean-4.5) > 0.6 {
			t.Errorf("point %d is %+v, want about ten readings from 0 to 9", i, p)
		}
		if i > 0 && !p.At.After(points[i-1].At) {
			t.Errorf("point %d is at %s, not after %s", i, p.At, points[i-1].At)
		}
	}
	// The edges of a stretch cut through a packed hour and through the tail.
	for _, from := range []time.Duration{20 * time.Minute, 80 * time.Minute} {
		part := must(s.Series(t.Context(), "C07", unit.OD, at(from), at(from+15*time.Minute), 1))(t)
		if len(part) != 1 || part[0].Readings != 30 {
			t.Errorf("15 minutes from %s: %+v, want one point of 30 readings", from, part)
		}
	}
	one := must(s.Series(t.Context(), "C07", unit.OD, time.Time{}, time.Time{}, 1))(t)
	same(t, "one point", one, []store.SeriesPoint{{At: at(3585 * time.Second), Min: 0, Mean: one[0].Mean, Max: 9, Readings: 240}})
	if math.Abs(one[0].Mean-4.5) > 1e-12 {
		t.Errorf("mean %g, want 4.5", one[0].Mean)
	}
	same(t, "no readings", must(s.Series(t.Context(), "C07", unit.OD, at(9*time.Hour), at(10*time.Hour), 5))(t), []store.SeriesPoint{})
	same(t, "nobody", must(s.Series(t.Context(), "Z9", unit.OD, at(0), at(time.Hour), 5))(t), []store.SeriesPoint{})
	if _, err := s.Series(t.Context(), "C07", unit.OD, at(0), at(1), 0); err == nil {
		t.Error("no error for no points")
	}
}

func packing(t *testing.T, open Opener) {
	s := opened(t, open)
	var all []ingest.Reading
	for i := range 1000 {
		d := time.Duration(i) * 20 * time.Second // five and a half hours
		all = append(all, reading("C07", unit.OD, 0.4+float64(i)/1000, d), reading("C08", unit.Temperature, 21.37, d))
	}
	keep(t, s, batch(all...))
	before := collect(t, s.Between(t.Context(), time.Time{}, time.Time{}))
	if n := must(s.Pack(t.Context(), at(3*time.Hour+59*time.Minute)))(t); n != 3*180*2 {
		t.Errorf("moved %d readings, want three hours of two series, %d", n, 3*180*2)
	}
	same(t, "packed", collect(t, s.Between(t.Context(), time.Time{}, time.Time{})), before)
	if n := must(s.Pack(t.Context(), at(3*time.Hour)))(t); n != 0 {
		t.Errorf("moved %d readings a second time", n)
	}
	s = reopened(t, s, open)
	late := reading("C07", unit.OD, 7, time.Hour+time.Second)
	got := keep(t, s, batch(all[0], late, all[500], late, all[1999]))
	same(t, "late and repeated", got, ingest.Kept{Seq: 2, Stored: 1, Duplicates: 4})
	for range 2 {
		same(t, "late one", collect(t, s.Readings(t.Context(), store.Range{Vessel: "C07", From: late.At, To: at(time.Hour + 2*time.Second)})), []ingest.Reading{late})
		same(t, "repeated", keep(t, s, batch(late)).Duplicates, 1)
		must(s.Pack(t.Context(), at(3*time.Hour)))(t)
	}
	if total := must(s.Totals(t.Context()))(t); total.Readings != 2001 {
		t.Errorf("%d readings in all, want 2001", total.Readings)
	}
}

func ranging(t *testing.T, open Opener) {
	s := opened(t, open)
	keep(t, s, batch(reading("C07", unit.OD, 1, 0), reading("C07", unit.OD, 2, time.Hour), reading("C07", unit.OD, 3, 2*time.Hour)))
	n := 0
	for r, err := range s.Between(t.Context(), time.Time{}, at(3*time.Hour)) {
		if err != nil {
			t.Fatal(err)
		}
		keep(t, s, batch(reading("C08", r.Quantity, r.Value, 5*time.Hour+r.At.Sub(start))))
		must(s.Pack(t.Context(), at(2*time.Hour)))(t)
		if n++; n == 2 {
			break
		}
	}
	if total := must(s.Totals(t.Context()))(t); n != 2 || total.Readings != 5 {
		t.Errorf("%d steps and %d readings, want 2 and 5", n, total.Readings)
	}
}
