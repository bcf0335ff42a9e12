package store_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// fresh returns n readings of 50 vessels that no call before has returned.
func fresh(n int, tick *int) ingest.Batch {
	b := ingest.Batch{Arrived: evening, Readings: make([]ingest.Reading, n)}
	for i := range b.Readings {
		*tick++
		b.Readings[i] = ingest.Reading{Vessel: fmt.Sprintf("C%02d", *tick/4%50), Quantity: ingest.Quantity(1 + *tick%4),
			Value: float64(*tick%997) / 1000, At: evening.Add(time.Duration(*tick/200) * 10 * time.Second)}
	}
	return b
}

func benchmark(b *testing.B) *store.Store {
	s, err := store.Open(b.Context(), filepath.Join(b.TempDir(), "room.db"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := s.Close(); err != nil {
			b.Error(err)
		}
	})
	return s
}

func BenchmarkAppend(b *testing.B) {
	for _, n := range []int{1, 100, 1000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s, tick := benchmark(b), 0
			for b.Loop() {
				batch := fresh(n, &tick)
				if kept, err := s.Append(b.Context(), batch); err != nil || kept.Stored != n {
					b.Fatal(kept, err)
				}
			}
			b.ReportMetric(float64(n*b.N)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}

// Many messages of one line each, kept together.
func BenchmarkAppendAll(b *testing.B) {
	s, tick := benchmark(b), 0
	batches := make([]ingest.Batch, 500)
	for b.Loop() {
		for i := range batches {
			batches[i] = fresh(4, &tick)
		}
		if _, err := s.AppendAll(b.Context(), batches); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(batches)*b.N)/b.Elapsed().Seconds(), "messages/s")
}

// A season of one vessel's quantity, 10 days at 10 s, from the tail and from packs.
func BenchmarkReadings(b *testing.B) {
	for _, packed := range []bool{false, true} {
		b.Run(fmt.Sprintf("packed=%t", packed), func(b *testing.B) {
			s := benchmark(b)
			const n = 86_400
			batch := ingest.Batch{Arrived: evening}
			for i := range n {
				batch.Readings = append(batch.Readings, ingest.Reading{Vessel: "C07", Quantity: ingest.OD,
					Value: float64(400+i/1000+i%7) / 1000, At: evening.Add(time.Duration(i) * 10 * time.Second)})
			}
			if _, err := s.Append(b.Context(), batch); err != nil {
				b.Fatal(err)
			}
			if packed {
				if _, err := s.Pack(b.Context(), evening.Add(1000*time.Hour)); err != nil {
					b.Fatal(err)
				}
			}
			for b.Loop() {
				got := 0
				for range s.Readings(b.Context(), store.Range{Vessel: "C07"}) {
					got++
				}
				if got != n {
					b.Fatalf("%d of %d", got, n)
				}
			}
			b.ReportMetric(float64(n*b.N)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}
