package store_test

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
	"github.com/nightshelf/nightshelf/ingest/store/memstore"
	"github.com/nightshelf/nightshelf/ingest/store/storetest"
)

var evening = time.Date(2026, 1, 10, 18, 0, 0, 0, time.UTC)

func drawBatch(t *rapid.T) ingest.Batch {
	b := ingest.Batch{Arrived: evening}
	for range rapid.IntRange(0, 12).Draw(t, "readings") {
		// Few places, so that repeats are common; four hours, so that packs are.
		b.Readings = append(b.Readings, ingest.Reading{Vessel: rapid.SampledFrom([]string{"C07", "C08", ""}).Draw(t, "vessel"),
			Quantity: ingest.Quantity(rapid.IntRange(1, 2).Draw(t, "quantity")),
			Value:    rapid.SampledFrom([]float64{0.4, 0.412, 1.0 / 3, -127}).Draw(t, "value"),
			At:       evening.Add(time.Duration(rapid.IntRange(0, 23).Draw(t, "at")) * 10 * time.Minute)})
	}
	for range rapid.IntRange(0, 2).Draw(t, "entries") {
		when := evening.Add(time.Duration(rapid.IntRange(0, 3).Draw(t, "at")) * time.Hour)
		b.Entries = append(b.Entries, ingest.Entry{Vessel: "C07", Kind: ingest.Look, At: when, Written: when})
	}
	return b
}

// Whatever is done in whatever order, with restarts in between, the file
// holds what the store in memory holds.
func TestAgainstMemory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "store")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		path := filepath.Join(dir, "room.db")
		disk := new(memstore.Disk)
		var file, memory storetest.Store
		reopen := func(t *rapid.T) {
			if file != nil {
				check(t, file.Close(), memory.Close())
			}
			var a, b error
			file, a = store.Open(t.Context(), path)
			memory, b = memstore.Open(disk)
			check(t, a, b)
		}
		reopen(t)
		defer func() { check(t, file.Close(), memory.Close()) }()
		t.Repeat(map[string]func(*rapid.T){
			"restart": reopen,
			"append": func(t *rapid.T) {
				b := rapid.SliceOfN(rapid.Custom(drawBatch), 1, 3).Draw(t, "batches")
				x, a := file.AppendAll(t.Context(), b)
				y, c := memory.AppendAll(t.Context(), b)
				equal(t, "kept", x, y, a, c)
			},
			"pack": func(t *rapid.T) {
				before := evening.Add(time.Duration(rapid.IntRange(0, 300).Draw(t, "before")) * time.Minute)
				x, a := file.Pack(t.Context(), before)
				y, c := memory.Pack(t.Context(), before)
				equal(t, "packed", x, y, a, c)
			},
			"digested": func(t *rapid.T) {
				seq := rapid.Int64Range(0, 20).Draw(t, "seq")
				check(t, file.Digested(t.Context(), seq), memory.Digested(t.Context(), seq))
			},
			"look": func(t *rapid.T) { compare(t, file, memory) },
		})
		compare(t, file, memory)
	})
}

func check(t *rapid.T, errs ...error) {
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
}

func equal(t *rapid.T, what string, file, memory any, errs ...error) {
	check(t, errs...)
	if f, m := reflect.ValueOf(file), reflect.ValueOf(memory); f.Kind() == reflect.Slice && f.Len() == 0 && m.Len() == 0 {
		return
	}
	if !reflect.DeepEqual(file, memory) {
		t.Fatalf("%s:\n  file %+v\nmemory %+v", what, file, memory)
	}
}

func compare(t *rapid.T, file, memory storetest.Store) {
	ctx := t.Context()
	all := func(s storetest.Store) (out []ingest.Reading) {
		for r, err := range s.Between(ctx, time.Time{}, time.Time{}) {
			check(t, err)
			out = append(out, r)
		}
		return out
	}
	equal(t, "readings", all(file), all(memory))
	vf, ef := file.Vessels(ctx)
	vm, em := memory.Vessels(ctx)
	equal(t, "vessels", vf, vm, ef, em)
	tf, ef := file.Totals(ctx)
	tm, em := memory.Totals(ctx)
	tf.Bytes = 0
	equal(t, "totals", tf, tm, ef, em)
	nf, ef := file.Newest(ctx, "C07")
	nm, em := memory.Newest(ctx, "C07")
	equal(t, "newest", nf, nm, ef, em)
	bf, ef := file.Backlog(ctx)
	bm, em := memory.Backlog(ctx)
	equal(t, "backlog", bf, bm, ef, em)
	lf, ef := file.Entries(ctx, "", time.Time{}, time.Time{})
	lm, em := memory.Entries(ctx, "", time.Time{}, time.Time{})
	equal(t, "entries", lf, lm, ef, em)
	sf, ef := file.Series(ctx, "C07", ingest.OD, evening, evening.Add(3*time.Hour), 7)
	sm, em := memory.Series(ctx, "C07", ingest.OD, evening, evening.Add(3*time.Hour), 7)
	for _, s := range [][]store.SeriesPoint{sf, sm} { // sums differ in their last bit
		for i := range s {
			s[i].Mean = float64(int64(s[i].Mean*1e9+0.5)) / 1e9
			s[i].At = s[i].At.Truncate(time.Second)
		}
	}
	equal(t, "series", sf, sm, ef, em)
}
