// Package backtest puts recorded run folders through the very step that the
// daemon runs, in the readings' own time, and gathers the alarms it would have
// raised. It does not look ahead: a reading counts from its place in the file,
// an entry from when it was written.
package backtest

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"runtime"
	"slices"
	"sync"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// Options say how to look at the runs.
type Options struct {
	// Staffed tells when people were at the shelf, for a time in the zone of the
	// run's vessels; nil: never.
	Staffed func(time.Time) bool
	// TempBand is how far from the set temperature is still right, K; 0 is 3.
	TempBand float64
	// Growth asks for the growth of every lot, four times a day.
	Growth bool
	// Done is called after each run, with how many are done; nil: nobody asks.
	Done func(run string, done, all int)
	// Courses are what lots are held against and forecast by; nil: the
	// literature.
	Courses *expect.Library
	// Forecasts asks for the harvest of every lot at noon of each day.
	Forecasts bool
	// FalseCalls is how many false calls a month each room bears; 0 is one.
	FalseCalls float64
}

// Run is what came of one run folder.
type Run struct {
	Name     string
	Alarms   []alerts.Alarm // as they were raised, in order
	Calls    int
	Readings int
	Refused  []ingest.Refused
	TooLate  int64
	Growth   []Growth // where it was asked for, in order of time
	// First and Last are the times of the first reading and of the newest.
	First, Last time.Time
	// Forecasts are in order of being made.
	Forecasts []Forecast
}

// Folders lists the run folders at dir: dir itself, or those in it that hold a
// lot to watch, in order of their names.
func Folders(dir string) ([]*runfolder.Folder, error) {
	names, err := runfolder.List(dir)
	if err != nil {
		return nil, err
	}
	var out []*runfolder.Folder
	for _, n := range names {
		f, err := runfolder.Open(n)
		if err != nil {
			return nil, err
		}
		if watched(f) {
			out = append(out, f)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no run folder with a lot to watch in %s", dir)
	}
	return out, nil
}

func watched(f *runfolder.Folder) bool {
	for _, l := range f.Lots {
		if l.Role == ingest.Watch {
			return true
		}
	}
	return false
}

// All runs every folder, as many at a time as there are cores; the results are
// in the order of the folders, whatever the number of cores.
func All(ctx context.Context, folders []*runfolder.Folder, o Options) ([]Run, error) {
	runs, errs := make([]Run, len(folders)), make([]error, len(folders))
	var group sync.WaitGroup
	var mu sync.Mutex // guards done
	done, turns := 0, make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, f := range folders {
		group.Go(func() {
			turns <- struct{}{}
			defer func() { <-turns }()
			if errs[i] = ctx.Err(); errs[i] != nil {
				return
			}
			runs[i], errs[i] = One(f, o)
			mu.Lock()
			defer mu.Unlock()
			done++
			if o.Done != nil {
				o.Done(f.Name, done, len(folders))
			}
		})
	}
	group.Wait()
	return runs, errors.Join(errs...)
}

// One runs one folder.
func One(f *runfolder.Folder, o Options) (Run, error) {
	decoder, err := lineproto.New(lineproto.Options{})
	if err != nil {
		return Run{}, err
	}
	out := Run{Name: f.Name}
	var growth growths
	entries, err := entries(f, decoder, &out)
	if err != nil {
		return out, err
	}
	r := room.New(room.Options{Name: f.Name, Vessels: vessels(f, o), Staffed: local(f, o.Staffed), FollowReadings: true, Courses: o.Courses, FalseCalls: o.FalseCalls})
	course := newWatch(f, o)
	for chunk, err := range f.Readings() {
		if err != nil && !errors.Is(err, runfolder.ErrLineTooLong) {
			return out, err
		}
		b := decoder.Decode(chunk.Data, time.Time{}, time.Time{})
		out.Readings += len(b.Readings)
		out.Refused = append(out.Refused, b.Refused...)
		for i := range b.Readings {
			if o.Growth {
				growth.pass(r, b.Readings[i].At)
			}
			if out.First.IsZero() {
				out.First = b.Readings[i].At
			}
			// An entry counts from when it was written, by the readings' time.
			for len(entries) > 0 && !entries[0].Written.After(later(r.Now(), b.Readings[i].At)) {
				out.take(r.Digest(ingest.Batch{Entries: entries[:1]}, r.Now()))
				entries = entries[1:]
			}
			course.before(b.Readings[i], r)
			out.take(r.Digest(ingest.Batch{Readings: b.Readings[i : i+1]}, r.Now()))
		}
	}
	out.TooLate, out.Growth = r.TooLate(), growth.list
	out.Last, out.Forecasts = r.Now(), course.made()
	return out, nil
}

// local asks in the zone of the run.
func local(f *runfolder.Folder, staffed func(time.Time) bool) func(time.Time) bool {
	if staffed == nil || len(f.Vessels) == 0 || f.Vessels[0].Zone == nil {
		return staffed
	}
	zone := f.Vessels[0].Zone
	return func(t time.Time) bool { return staffed(t.In(zone)) }
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// entries reads the whole logbook; it is in order of writing.
func entries(f *runfolder.Folder, d *lineproto.Decoder, out *Run) ([]ingest.Entry, error) {
	var all []ingest.Entry
	for chunk, err := range f.Events() {
		if err != nil && !errors.Is(err, runfolder.ErrLineTooLong) {
			return nil, err
		}
		b := d.Decode(chunk.Data, time.Time{}, time.Time{})
		all = append(all, b.Entries...)
		out.Refused = append(out.Refused, b.Refused...)
	}
	return all, nil
}

// vessels are those of the folder, with what its lots say for convenience.
func vessels(f *runfolder.Folder, o Options) []ingest.Vessel {
	band := o.TempBand
	if band == 0 {
		band = 3
	}
	out := make([]ingest.Vessel, len(f.Vessels))
	for i, v := range f.Vessels {
		v.TempBand = band
		for _, l := range f.Lots {
			if l.Vessel == v.Name && l.HarvestOD > 0 {
				v.HarvestOD = l.HarvestOD
			}
		}
		out[i] = v
	}
	return out
}

func (run *Run) take(o room.Outcome) {
	for _, a := range o.Alarms {
		i := slices.IndexFunc(run.Alarms, func(b alerts.Alarm) bool { return a.ID == b.ID && a.Raised.Equal(b.Raised) })
		switch {
		case i >= 0 && run.Alarms[i].CallID == "": // somebody was called by now
			run.Alarms[i].CallID = a.CallID
		case i < 0 && a.State == alerts.Unacknowledged:
			run.Alarms = append(run.Alarms, a)
		}
	}
	run.Calls += len(o.Calls)
}

// WriteAlarms writes the alarms as CSV with the header
// run,vessel,class,raised_at,call,quantity,since,what; times are RFC 3339 in
// UTC. Alarms that reach the phone in one call share its id in call; one that
// only shows on the page has none.
func WriteAlarms(w io.Writer, runs []Run) error {
	out := csv.NewWriter(w)
	_ = out.Write([]string{"run", "vessel", "class", "raised_at", "call", "quantity", "since", "what"}) // Error tells
	for _, run := range runs {
		for _, a := range run.Alarms {
			_ = out.Write([]string{run.Name, a.Vessel, string(a.Class), a.Raised.Format(time.RFC3339), a.CallID,
				a.Quantity.Field(), a.Finding.Since.Format(time.RFC3339), a.Finding.What})
		}
	}
	out.Flush()
	return out.Error()
}
