package lineproto

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// TestCorpus reads recorded rooms: every line of them is good.
func TestCorpus(t *testing.T) {
	shared := os.Getenv("NIGHTSHELF_SHARED")
	if shared == "" {
		shared = filepath.Join("..", "..", "..", "shared")
	}
	events, err := filepath.Glob(filepath.Join(shared, "corpus", "room-*", "events.lp"))
	if err != nil {
		t.Fatal(err)
	}
	if len(events) == 0 {
		if _, err := os.Stat(shared); err == nil && os.Getenv("NIGHTSHELF_REQUIRE_ALL") == "1" {
			t.Fatal("the shared folder holds no corpus")
		}
		t.Skip("no corpus here")
	}
	d := decoder(t, Options{})
	for _, path := range events {
		lines, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		got := d.Decode(lines, time.Time{}, always)
		if len(got.Refused) > 0 {
			t.Errorf("%s: %d lines refused, first %s", path, len(got.Refused), got.Refused[0].Detail)
		}
		if want := bytes.Count(lines, []byte("\n")); len(got.Entries) != want {
			t.Errorf("%s: %d entries, want %d", path, len(got.Entries), want)
		}
		for _, e := range got.Entries {
			if e.WrittenOnArrival || len(e.Fields) == 0 && e.Kind != "end" && e.Kind != "wipe_sensor" {
				t.Errorf("%s: entry %+v lacks its fields", path, e)
			}
		}
		corpusReadings(t, d, filepath.Join(filepath.Dir(path), "readings.lp.gz"))
	}
}

// corpusReadings reads the first lines of a recording.
func corpusReadings(t *testing.T, d *Decoder, path string) {
	t.Helper()
	const enough = 5000
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }() // only read from
	unpacked, err := gzip.NewReader(file)
	if err != nil {
		t.Fatal(err)
	}
	s := bufio.NewScanner(unpacked)
	for n := 1; n <= enough && s.Scan(); n++ {
		got := d.Decode(s.Bytes(), time.Time{}, always)
		if len(got.Refused) > 0 || len(got.Readings) == 0 {
			t.Fatalf("%s, line %d: nothing is kept or something refused: %+v", path, n, got)
		}
	}
	if err := s.Err(); err != nil {
		t.Fatal(err)
	}
}
