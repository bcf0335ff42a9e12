package backtest

import (
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// TestWriteSeason writes an invented season, one run folder a room, with what a
// watcher must never read beside the readings: the labels and the truth, as
// the recorded season has them. DEVELOPERS.md has the command.
func TestWriteSeason(t *testing.T) {
	dir := os.Getenv("NIGHTSHELF_SEASON_OUT")
	if dir == "" {
		t.Skip("NIGHTSHELF_SEASON_OUT names no folder to write to")
	}
	o := invented{seed: uint64(number(t, "NIGHTSHELF_SEED", 1)), rooms: int(number(t, "NIGHTSHELF_ROOMS", 12)),
		references: int(number(t, "NIGHTSHELF_REFERENCES", 3)), faults: number(t, "NIGHTSHELF_FAULTS", 0.4)}
	if err := writeSeason(dir, o, t.Logf); err != nil {
		t.Fatal(err)
	}
}

// number reads a number from the environment.
func number(t *testing.T, name string, usual float64) float64 {
	text := os.Getenv(name)
	if text == "" {
		return usual
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= 0) {
		t.Fatalf("%s=%q: want a number of 0 or more", name, text)
	}
	return v
}

// writeSeason plays and writes every room, as many at a time as there are cores.
func writeSeason(dir string, o invented, say func(format string, args ...any)) error {
	rooms := o.plan()
	errs := make([]error, len(rooms))
	var group sync.WaitGroup
	turns := newTurns()
	for i := range rooms {
		group.Go(func() {
			turns.take()
			defer turns.give()
			r := &rooms[i]
			labels, err := r.write(filepath.Join(dir, r.name))
			if errs[i] = err; err == nil {
				say("%s: every %v, %d labels", r.name, r.plan.Places[0].Vessel.Interval, len(labels)-1)
			}
		})
	}
	group.Wait()
	return errors.Join(errs...)
}

// truthEvery is how far apart the rows of the truth are.
const truthEvery = 10 * time.Minute

// write plays the room into a run folder at dir and returns the rows of its
// labels, header included.
func (r *inventedRoom) write(dir string) ([][]string, error) {
	w, err := runfolder.Create(dir)
	if err != nil {
		return nil, err
	}
	room := simulate.New(r.plan, r.seed)
	err = errors.Join(w.Vessels(r.plan.Vessels()), w.Lots(r.plan.Lots()))
	truth := truthTable(r.plan.Places)
	for err == nil {
		readings, entries, ok := room.Step()
		if !ok {
			break
		}
		err = writeStep(w, readings, entries)
		truth.note(room)
	}
	if err != nil {
		return nil, errors.Join(err, w.Abandon())
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	labels := r.labels(room)
	return labels, errors.Join(writeFile(filepath.Join(dir, LabelsFile), rowsTo(labels)),
		writeFile(filepath.Join(dir, "truth.csv.gz"), packed(truth.rows())))
}

func writeStep(w *runfolder.Writer, readings []ingest.Reading, entries []ingest.Entry) error {
	lines, err := lineproto.AppendReading(nil, readings...)
	var events []byte
	for _, e := range entries {
		if err == nil {
			events, err = lineproto.AppendEntry(events, e)
		}
	}
	if err != nil {
		return err
	}
	return errors.Join(w.Readings(lines), w.Events(vesselFirst(events)))
}

var tags = regexp.MustCompile(`(?m)^event,(kind=[^, ]+),(vessel=[^, ]+)`)

// vesselFirst puts the tags of entries into the order of the recorded season:
// line protocol allows either, but who scores a season may look for the vessel
// with a comma behind it.
func vesselFirst(events []byte) []byte { return tags.ReplaceAll(events, []byte("event,$2,$1")) }

// truths gathers the rows of the truth, a list a vessel.
type truths struct {
	places []simulate.Place
	list   [][][]string
	last   time.Time
}

func truthTable(places []simulate.Place) *truths {
	return &truths{places: places, list: make([][][]string, len(places))}
}

// note writes down how the vessels stand, when it is time. biomass_od is the
// od of the living cells alone, were all of them in suspension; signal_od is
// what a probe without noise, blank, dirt and stray light shows of everything
// there, so that it holds the saturation of the probe, as harvest_od does.
func (t *truths) note(room *simulate.Room) {
	now := room.Now()
	if !now.Truncate(truthEvery).Equal(now) || !now.After(t.last) { // the last step may come twice
		return
	}
	t.last = now
	od := func(v float64) string { return strconv.FormatFloat(v, 'f', 5, 64) }
	for i := range t.places {
		p := &t.places[i]
		tr, _ := room.Truth(p.Vessel.Name)
		signal, scale := tr.Signal, odPerG(p.Starts[0].Lot.Strain)
		if p.Probe.ODMax > 0 {
			signal /= 1 + signal/p.Probe.ODMax
		}
		t.list[i] = append(t.list[i], []string{p.Vessel.Name, now.UTC().Format(time.RFC3339), od(scale * tr.Biomass), od(scale * tr.Healthy), od(signal)})
	}
}

// odPerG is what the simulator believes of a strain.
func odPerG(strain string) float64 {
	all := simulate.Strains()
	i := slices.IndexFunc(all, func(s simulate.Strain) bool { return s.Name == strain })
	return all[i].ODPerG
}

func (t *truths) rows() [][]string {
	return append([][]string{{"vessel", "time", "biomass_od", "healthy_biomass_od", "signal_od"}}, slices.Concat(t.list...)...)
}

// ambiguous is the class of a label of which nobody could tell what it was.
const ambiguous = "ambiguous"

// labels are what a played room knows of itself. The column bound is empty:
// nobody has worked out how early a fault could be seen.
func (r *inventedRoom) labels(room *simulate.Room) [][]string {
	rows := [][]string{{"lot", "vessel", "fault", "class", "onset", "bite", "bound", "cleared"}}
	at := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.UTC().Format(time.RFC3339)
	}
	for i := range r.plan.Places {
		lot := &r.plan.Places[i].Starts[0].Lot
		tr, _ := room.Truth(lot.Vessel)
		for _, s := range tr.Faults {
			if class := classOf(s); class != "" {
				rows = append(rows, []string{lot.Name, lot.Vessel, string(s.Kind), class, at(s.Began), at(s.Bite), "", at(s.Cleared)})
			}
		}
		for _, a := range room.Acts() {
			if a.Vessel == lot.Vessel && a.Kind == ingest.Harvest && (a.Written.IsZero() || a.Written.After(r.plan.End)) {
				rows = append(rows, []string{lot.Name, lot.Vessel, "unlogged_draw", "notice", at(a.At), at(a.At), "", ""})
			}
		}
	}
	return rows
}

// classOf is the class under which a fault is labelled. A fault of the culture
// that never bit is ambiguous; one of the surroundings that never showed, such
// as a timer that sticks where the lamp burns all day anyway, is none.
func classOf(s simulate.Struck) string {
	class := s.Kind.Class()
	switch {
	case !s.Bite.IsZero():
		return string(class)
	case class.Culture():
		return ambiguous
	}
	return ""
}

func writeFile(name string, fill func(io.Writer) error) (err error) {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return fill(f)
}

func rowsTo(rows [][]string) func(io.Writer) error {
	return func(w io.Writer) error { return csv.NewWriter(w).WriteAll(rows) } // WriteAll flushes
}

func packed(rows [][]string) func(io.Writer) error {
	return func(w io.Writer) error {
		z := gzip.NewWriter(w)
		return errors.Join(rowsTo(rows)(z), z.Close())
	}
}

// What is written is what was played: the labels name the faults that were
// planned, no faultless season has one, and each room can be read again.
func TestSeasonHoldsWhatItSays(t *testing.T) {
	dir := t.TempDir()
	o := invented{seed: 6, rooms: 1, references: 1, faults: 1} // this seed reads seldom, which is quick
	if err := writeSeason(dir, o, t.Logf); err != nil {
		t.Fatal(err)
	}
	folders, err := Folders(dir)
	if err != nil || len(folders) != 1 {
		t.Fatalf("%d folders to watch, %v", len(folders), err)
	}
	labels, known, err := Labels(folders[0])
	if err != nil || !known {
		t.Fatal(known, err)
	}
	planned := map[string]simulate.Fault{}
	for _, f := range o.plan()[1].plan.Faults {
		planned[f.Vessel] = f
	}
	struck := 0
	for _, l := range labels {
		if l.Class == "notice" {
			continue
		}
		struck++
		p := planned[l.Vessel]
		if l.Fault != string(p.Kind) || l.Class != string(p.Kind.Class()) && l.Class != ambiguous || l.Onset.Before(p.From) || l.Bite.Before(l.Onset) {
			t.Errorf("label %+v of the fault %+v", l, p)
		}
	}
	if struck < len(planned)-2 || struck > len(planned) || len(planned) < 6 { // some never show
		t.Errorf("%d faults planned, %d labelled", len(planned), struck)
	}
	events, err := os.ReadFile(filepath.Join(folders[0].Dir, runfolder.EventsFile))
	if err != nil || strings.Count(string(events), "\n") < inventedVessels || strings.Count(string(events), "event,vessel=") != strings.Count(string(events), "\n") {
		t.Errorf("%v, entries that do not begin with their vessel:\n%s", err, events)
	}
	lots, err := byhour.References(dir)
	if err != nil || len(lots) != inventedVessels {
		t.Errorf("%d reference lots, %v", len(lots), err)
	}
}

// The plan of a season is drawn from its seed alone, and holds every kind of
// fault that its size allows.
func TestInventedPlans(t *testing.T) {
	full := invented{seed: 3, rooms: 12, references: 3, faults: 0.4}
	rooms := full.plan()
	if !slices.EqualFunc(rooms, full.plan(), func(a, b inventedRoom) bool { return fmt.Sprint(a) == fmt.Sprint(b) }) {
		t.Error("the same seed draws another season")
	}
	kinds, every := map[simulate.FaultKind]int{}, map[time.Duration]int{}
	for i, r := range rooms {
		if err := r.plan.Check(); err != nil {
			t.Error(r.name, err)
		}
		every[r.plan.Places[0].Vessel.Interval]++
		for _, f := range r.plan.Faults {
			kinds[f.Kind]++
			if i < full.references {
				t.Errorf("%s of reference lots has the fault %+v", r.name, f)
			}
			if f.Kind.Class() == analysis.Airflow && f.Until.IsZero() {
				t.Errorf("air that nobody mends: %+v", f)
			}
		}
	}
	if len(kinds) != len(simulate.FaultKinds()) || len(every) != 3 {
		t.Errorf("kinds %v, intervals %v", kinds, every)
	}
	for _, r := range (invented{seed: 4, rooms: 3}).plan() {
		if len(r.plan.Faults) != 0 {
			t.Errorf("%s of a quiet season has faults", r.name)
		}
	}
}
