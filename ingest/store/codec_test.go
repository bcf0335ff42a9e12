package store

import (
	"bytes"
	"math"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/ingest"
)

func milli(t *rapid.T, label string) time.Time {
	return time.UnixMilli(rapid.Int64Range(minTime, maxTime).Draw(t, label)).UTC()
}

func drawEntry(t *rapid.T) ingest.Entry {
	e := ingest.Entry{Vessel: rapid.String().Draw(t, "vessel"), Kind: rapid.SampledFrom(ingest.Kinds).Draw(t, "kind"),
		At: milli(t, "at"), Written: milli(t, "written"), WrittenOnArrival: rapid.Bool().Draw(t, "arrival"),
		Who: rapid.String().Draw(t, "who")}
	value := rapid.OneOf(rapid.Map(rapid.Float64(), ingest.Num), rapid.Map(rapid.String(), ingest.Text), rapid.Map(rapid.Bool(), ingest.Bool))
	if fields := rapid.MapOfN(rapid.String(), value, 0, 5).Draw(t, "fields"); len(fields) > 0 {
		e.Fields = fields
	}
	return e
}

func drawReading(t *rapid.T) ingest.Reading {
	return ingest.Reading{Vessel: rapid.StringN(1, 8, 64).Draw(t, "vessel"), Quantity: ingest.Quantity(rapid.Byte().Draw(t, "quantity")),
		Value: rapid.Float64().Draw(t, "value"), At: milli(t, "at")}
}

func TestBatchRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := ingest.Batch{Seq: rapid.Int64().Draw(t, "seq"), Arrived: milli(t, "arrived")}
		for range rapid.IntRange(0, 20).Draw(t, "readings") {
			b.Readings = append(b.Readings, drawReading(t))
		}
		for range rapid.IntRange(0, 4).Draw(t, "entries") {
			b.Entries = append(b.Entries, drawEntry(t))
		}
		data := encodeBatch(b)
		got, err := decodeBatch(data, b.Seq, b.Arrived)
		if err != nil || !reflect.DeepEqual(got, b) {
			t.Fatalf("got %+v, %v\nwant %+v", got, err, b)
		}
		for i, e := range b.Entries {
			if got.Entries[i].ID() != e.ID() {
				t.Fatalf("%+v came back with another identity", e)
			}
		}
		cut := rapid.IntRange(0, len(data)-1).Draw(t, "cut")
		if got, err := decodeBatch(data[:cut], b.Seq, b.Arrived); err == nil {
			t.Fatalf("cut to %d of %d bytes it reads %+v", cut, len(data), got)
		}
		if _, err := decodeBatch(append(data, 0), b.Seq, b.Arrived); err == nil {
			t.Fatal("a byte too many is no error")
		}
	})
}

// FuzzBatch feeds what may be on a damaged disk: no panic, no memory without
// end, and what can be read is written the same way or at least reads the same.
func FuzzBatch(f *testing.F) {
	arrived := time.UnixMilli(1_768_000_000_000).UTC()
	f.Add([]byte{})
	f.Add([]byte{codecVersion, 0, 0, 0})
	f.Add([]byte{2, 0, 0, 0})
	f.Add([]byte{codecVersion, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 1})
	f.Add(encodeBatch(nth(3)))
	f.Add(encodeBatch(ingest.Batch{Arrived: arrived, Entries: []ingest.Entry{{Vessel: "C07", Kind: ingest.Fill, At: arrived, Written: arrived,
		Fields: map[string]ingest.Value{"volume_l": ingest.Num(18), "note": ingest.Text("x"), "refilled": ingest.Bool(true)}}}}))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := decodeBatch(data, 1, arrived)
		if err != nil {
			return
		}
		again := encodeBatch(b)
		c, err := decodeBatch(again, 1, arrived)
		if err != nil || !bytes.Equal(again, encodeBatch(c)) {
			t.Fatalf("%+v does not come back: %+v, %v", b, c, err)
		}
	})
}

func TestPackRoundTrip(t *testing.T) {
	const start = 1_768_000_000_000 / hourMs * hourMs
	value := rapid.OneOf(
		rapid.Map(rapid.IntRange(-200_000, 200_000), func(n int) float64 { return float64(n) / 1000 }),
		rapid.Map(rapid.Int64Range(-1<<53, 1<<53), func(n int64) float64 { return float64(n) / 1e9 }),
		rapid.SampledFrom([]float64{0, math.Copysign(0, -1), -127, 85, math.MaxFloat64, math.SmallestNonzeroFloat64}),
		rapid.Float64())
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(value, 1, 80).Draw(t, "values")
		if rapid.Bool().Draw(t, "decimals only") {
			for i, v := range values {
				values[i] = math.Round(math.Mod(v, 1000)*100) / 100
			}
		}
		ts := int64(start)
		samples := make([]sample, len(values))
		for i, v := range values {
			samples[i] = sample{ts, v}
			ts += rapid.Int64Range(1, hourMs/80).Draw(t, "step")
		}
		data := encodePack(start, samples)
		got, err := decodePack(start, data)
		if err != nil || len(got) != len(samples) {
			t.Fatalf("got %v, %v", got, err)
		}
		for i, s := range samples {
			if got[i].ts != s.ts || math.Float64bits(got[i].value) != math.Float64bits(s.value) {
				t.Fatalf("reading %d is %v, was %v", i, got[i], s)
			}
		}
		cut := rapid.IntRange(0, len(data)-1).Draw(t, "cut")
		if got, err := decodePack(start, data[:cut]); err == nil {
			t.Fatalf("cut to %d of %d bytes it reads %v", cut, len(data), got)
		}
	})
}

func FuzzPack(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{packVersion, 3, 1, 0, 0})
	f.Add([]byte{packVersion, rawValues, 0x80, 0xdd, 0xdb, 1, 0, 2, 0})
	f.Add(encodePack(0, []sample{{5, 0.412}, {10_005, 0.413}, {20_007, 0.5}}))
	f.Add(encodePack(0, []sample{{5, 1.0 / 3}, {6, 2.0 / 3}}))
	f.Fuzz(func(t *testing.T, data []byte) {
		samples, err := decodePack(0, data)
		if err != nil {
			return
		}
		again, err := decodePack(0, encodePack(0, samples))
		if err != nil || len(again) != len(samples) {
			t.Fatalf("%d readings come back as %d, %v", len(samples), len(again), err)
		}
	})
}

// A steady sensor takes a few bytes a reading, not the 26 of a row.
func TestPackIsSmall(t *testing.T) {
	var samples []sample
	for i := range int64(360) {
		samples = append(samples, sample{i*10_000 + i%7, float64(400+i/10+i%5) / 1000})
	}
	if n := len(encodePack(0, samples)); n > 3*len(samples) {
		t.Errorf("%d bytes for %d readings", n, len(samples))
	}
}
