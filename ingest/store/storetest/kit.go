package storetest

import (
	"fmt"
	"iter"
	"reflect"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// start is a full hour, so that tests can speak of hours from it.
var start = time.Date(2026, 1, 10, 18, 0, 0, 0, time.UTC)

func at(d time.Duration) time.Time { return start.Add(d) }

func reading(vessel string, q ingest.Quantity, value float64, d time.Duration) ingest.Reading {
	return ingest.Reading{Vessel: vessel, Quantity: q, Value: value, At: at(d)}
}

func batch(readings ...ingest.Reading) ingest.Batch {
	return ingest.Batch{Arrived: at(48 * time.Hour), Readings: readings}
}

func must[T any](v T, err error) func(t *testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func opened(t *testing.T, open Opener) Store {
	t.Helper()
	s := must(open())(t)
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// reopened closes s and opens the same data.
func reopened(t *testing.T, s Store, open Opener) Store {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return opened(t, open)
}

func keep(t *testing.T, s Store, b ingest.Batch) ingest.Kept {
	t.Helper()
	return must(s.Append(t.Context(), b))(t)
}

func collect(t *testing.T, seq iter.Seq2[ingest.Reading, error]) []ingest.Reading {
	t.Helper()
	var out []ingest.Reading
	for r, err := range seq {
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, r)
	}
	return out
}

func same(t *testing.T, what string, got, want any) {
	t.Helper()
	g, w := reflect.ValueOf(got), reflect.ValueOf(want)
	if g.Kind() == reflect.Slice && g.Len() == 0 && w.Len() == 0 {
		return
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %s\nwant %s", what, shown(got), shown(want))
	}
}

func shown(v any) string {
	s := fmt.Sprintf("%+v", v)
	return s[:min(len(s), 2000)]
}
