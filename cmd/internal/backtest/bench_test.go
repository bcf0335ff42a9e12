package backtest

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// BenchmarkSeason puts the recorded season through the watch with forecasts,
// learning included, and BenchmarkDecode merely unpacks and decodes the same
// files on the same cores: the first is to run at a quarter of the rate of the
// second or more.
func BenchmarkSeason(b *testing.B) {
	dir := shared(b, "corpus")
	for b.Loop() {
		lots, err := byhour.References(dir)
		if err != nil {
			b.Fatal(err)
		}
		lib := expect.Learn(lots)
		folders, err := Folders(dir)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := All(context.Background(), folders, Options{Staffed: staffed, Courses: &lib, Forecasts: true}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	names, err := runfolder.List(shared(b, "corpus"))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		var group sync.WaitGroup
		turns := newTurns()
		for _, name := range names {
			group.Go(func() {
				turns.take()
				defer turns.give()
				decodeAll(b, name)
			})
		}
		group.Wait()
	}
}

func decodeAll(b *testing.B, name string) {
	f, err := runfolder.Open(name)
	if err != nil {
		b.Error(err)
		return
	}
	d, err := lineproto.New(lineproto.Options{})
	if err != nil {
		b.Error(err)
		return
	}
	for chunk, err := range f.Readings() {
		if err != nil {
			b.Error(err)
			return
		}
		d.Decode(chunk.Data, time.Time{}, time.Time{})
	}
}
