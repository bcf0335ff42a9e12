package byhour

import (
	"errors"
	"math"
	"runtime"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Gather returns what gathers the readings of each vessel of a run folder.
func Gather(f *runfolder.Folder) map[string]*Hours {
	out := map[string]*Hours{}
	for _, v := range f.Vessels {
		out[v.Name] = Of(v)
	}
	return out
}

// References reads the reference lots of all run folders at dir, which may be one
// itself. Their times are those of lots.csv.
func References(dir string) ([]expect.Record, error) {
	names, err := runfolder.List(dir)
	if err != nil {
		return nil, err
	}
	parts, errs := make([][]expect.Record, len(names)), make([]error, len(names))
	var group sync.WaitGroup
	turns := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, name := range names {
		group.Go(func() {
			turns <- struct{}{}
			defer func() { <-turns }()
			parts[i], errs[i] = references(name)
		})
	}
	group.Wait()
	var all []expect.Record
	for _, p := range parts {
		all = append(all, p...)
	}
	return all, errors.Join(errs...)
}

// references reads the reference lots of one run folder.
func references(dir string) ([]expect.Record, error) {
	f, err := runfolder.Open(dir)
	if err != nil {
		return nil, err
	}
	var lots []ingest.Lot
	for _, l := range f.Lots {
		if l.Role == ingest.Reference && !l.Inoculated.IsZero() {
			lots = append(lots, l)
		}
	}
	if len(lots) == 0 {
		return nil, nil
	}
	vessels, err := All(f)
	if err != nil {
		return nil, err
	}
	var out []expect.Record
	for _, l := range lots {
		h := vessels[l.Vessel]
		if h == nil {
			continue
		}
		end := h.End()
		if !l.Ended.IsZero() {
			end = min(end, HourOf(l.Ended))
		}
		r := h.Record(l.Name, l.Strain, l.Medium, l.Inoculated, end)
		r.Ready = l.HarvestOD
		out = append(out, r)
	}
	return out, nil
}

// All gathers all readings of a run folder.
func All(f *runfolder.Folder) (map[string]*Hours, error) {
	vessels := Gather(f)
	decoder, err := lineproto.New(lineproto.Options{})
	if err != nil {
		return nil, err
	}
	for chunk, err := range f.Readings() {
		if err != nil && !errors.Is(err, runfolder.ErrLineTooLong) {
			return nil, err
		}
		for _, r := range decoder.Decode(chunk.Data, time.Time{}, time.Time{}).Readings {
			if h := vessels[r.Vessel]; h != nil && math.Abs(r.Value) <= unit.Largest {
				h.Take(r)
			}
		}
	}
	return vessels, nil
}
