package backtest

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// ErrNoLot says that no run folder holds a lot of that name.
var ErrNoLot = errors.New("no such lot")

// Explained is one lot's evidence.
type Explained struct {
	Run       Run
	Lot       ingest.Lot
	From      expect.Strain
	Steps     []expect.Step // its course, looking back from its end
	Limit     expect.Limit  // what held it back on its last day; empty name: nothing known
	Entries   []ingest.Entry
	Alarms    []alerts.Alarm
	Forecasts []Forecast
}

// Explain gathers the evidence of the lot of that name among all run folders
// at dir. Its course is seen looking back, its alarms and forecasts as they
// would have come.
func Explain(dir, name string, o Options) (Explained, error) {
	names, err := runfolder.List(dir)
	if err != nil {
		return Explained{}, err
	}
	for _, n := range names {
		f, err := runfolder.Open(n)
		if err != nil {
			return Explained{}, err
		}
		i := slices.IndexFunc(f.Lots, func(l ingest.Lot) bool { return l.Name == name })
		if i >= 0 {
			return explain(f, f.Lots[i], o)
		}
	}
	return Explained{}, fmt.Errorf("explain %q: %w in %s", name, ErrNoLot, dir)
}

func explain(f *runfolder.Folder, lot ingest.Lot, o Options) (Explained, error) {
	if lot.Inoculated.IsZero() {
		return Explained{}, fmt.Errorf("explain %q: lots.csv does not say when it was inoculated", lot.Name)
	}
	run, err := One(f, o)
	if err != nil {
		return Explained{}, err
	}
	vessels, err := byhour.All(f)
	if err != nil {
		return Explained{}, err
	}
	h := vessels[lot.Vessel]
	if h == nil || h.End() == 0 {
		return Explained{}, fmt.Errorf("explain %q: no readings of its vessel %q", lot.Name, lot.Vessel)
	}
	end := h.End()
	if !lot.Ended.IsZero() {
		end = min(end, byhour.HourOf(lot.Ended))
	}
	rec := h.Record(lot.Name, lot.Strain, lot.Medium, lot.Inoculated, end)
	course := o.Courses.Lot(&rec)
	out := Explained{Run: run, Lot: lot, From: course.From, Steps: course.Course()}
	out.Limit, _ = course.Limit()
	return out, out.fill(f)
}

// fill adds what concerns the lot's vessel in the lot's time.
func (e *Explained) fill(f *runfolder.Folder) error {
	d, err := lineproto.New(lineproto.Options{})
	if err != nil {
		return err
	}
	all, err := entries(f, d, &Run{})
	if err != nil {
		return err
	}
	within := func(t time.Time) bool {
		return !t.Before(e.Lot.Inoculated) && (e.Lot.Ended.IsZero() || !t.After(e.Lot.Ended))
	}
	for _, entry := range all {
		if entry.Vessel == e.Lot.Vessel && within(entry.At) {
			e.Entries = append(e.Entries, entry)
		}
	}
	for _, a := range e.Run.Alarms {
		if a.Vessel == e.Lot.Vessel && within(a.Raised) {
			e.Alarms = append(e.Alarms, a)
		}
	}
	for _, fc := range e.Run.Forecasts {
		if fc.Vessel == e.Lot.Vessel && within(fc.Made) {
			e.Forecasts = append(e.Forecasts, fc)
		}
	}
	return nil
}

const (
	explainEvery = 6  // hours a line
	chartWide    = 40 // characters
	chartFrom    = 0.005
	chartTo      = 2.0
)

// Write writes the evidence for a person: the course every six hours with a
// small chart (o measured, | expected), what was entered, called and forecast.
func (e *Explained) Write(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s in %s, vessel %s of %s, from %s\n", e.Lot.Name, e.Lot.Strain, e.Lot.Medium, e.Lot.Vessel, e.Run.Name, stamp(e.Lot.Inoculated))
	if e.From.WideFor != "" {
		fmt.Fprintf(&b, "Expected course with wide bounds: %s.\n", e.From.WideFor)
	} else {
		fmt.Fprintf(&b, "Expected course from %d reference lots: %s.\n", e.From.Lots, strings.Join(e.From.Names, ", "))
	}
	if e.Limit.Name != "" {
		fmt.Fprintf(&b, "Held back most on its last day by %s, %.0f %% of growth left: %s.\n", e.Limit.Name, 100*e.Limit.Share, e.Limit.Sum)
	}
	fmt.Fprintf(&b, "\n%-17s %7s %8s %7s %5s  od %.3g to %.3g, o measured, | expected an hour before\n", "time (UTC)", "od", "expected", "1/d", "off", chartFrom, chartTo)
	for i := explainEvery - 1; i < len(e.Steps); i += explainEvery {
		s := e.Steps[i]
		fmt.Fprintf(&b, "%-17s %7s %8s %7.2f %5.1f  %s\n", s.At.UTC().Format("2006-01-02 15:04"), od(s.OD), od(s.Expected), s.Rate, worst(e.Steps[i+1-explainEvery:i+1]), chart(s))
	}
	e.writeLists(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

func (e *Explained) writeLists(b *strings.Builder) {
	fmt.Fprintln(b, "\nEntries, alarms and forecasts")
	for _, entry := range e.Entries {
		fmt.Fprintf(b, "%s  entry     %s (written %s)\n", stamp(entry.At), entry.Kind, stamp(entry.Written))
	}
	for _, a := range e.Alarms {
		fmt.Fprintf(b, "%s  alarm     %s: %s\n", stamp(a.Raised), a.Class, a.Finding.What)
	}
	for _, f := range e.Forecasts {
		likely := "not within 7 days"
		if !f.Likely.IsZero() {
			likely = stamp(f.Likely)
		}
		fmt.Fprintf(b, "%s  forecast  ready %s (80 %%: %s to %s)\n", stamp(f.Made), likely, stamp(f.Earliest), stamp(f.Latest))
	}
}

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") }

func od(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.3f", v)
}

// worst is the surprise that is farthest off.
func worst(steps []expect.Step) float64 {
	out := 0.0
	for _, s := range steps {
		if math.Abs(s.Surprise) > math.Abs(out) {
			out = s.Surprise
		}
	}
	return out
}

// chart draws one line on a logarithmic scale.
func chart(s expect.Step) string {
	line := []byte(strings.Repeat(" ", chartWide))
	put := func(v float64, mark byte) {
		if !(v > 0) {
			return
		}
		at := math.Log(v/chartFrom) / math.Log(chartTo/chartFrom) * (chartWide - 1)
		line[int(math.Round(min(max(at, 0), chartWide-1)))] = mark
	}
	put(s.Expected, '|')
	put(s.OD, 'o')
	return strings.TrimRight(string(line), " ")
}
