package backtest

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// Label is a fault that somebody knows to have been, of labels.csv.
type Label struct {
	Vessel string
	Fault  string
	Class  string // one of the classes of findings, or ambiguous: nobody can say
	// Onset is when it began, Bite when it first showed.
	Onset, Bite, Cleared time.Time // Cleared is zero where it lasted
}

// LabelsFile holds the labels of a run folder, if anybody knows any: columns
// vessel, fault, class, onset, bite and cleared, times in RFC 3339.
const LabelsFile = "labels.csv"

// Labels reads the labels of a run folder; known is false where it has none.
func Labels(f *runfolder.Folder) (labels []Label, known bool, err error) {
	name := filepath.Join(f.Dir, LabelsFile)
	file, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	defer func() { _ = file.Close() }() // only read from
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		return nil, false, fmt.Errorf("%s: %w", name, err)
	}
	if len(rows) == 0 {
		return nil, true, nil
	}
	for i, row := range rows[1:] {
		cell := func(column string) string {
			if at := slices.Index(rows[0], column); at >= 0 && at < len(row) {
				return strings.TrimSpace(row[at])
			}
			return ""
		}
		l := Label{Vessel: cell("vessel"), Fault: cell("fault"), Class: cell("class")}
		for column, to := range map[string]*time.Time{"onset": &l.Onset, "bite": &l.Bite, "cleared": &l.Cleared} {
			text := cell(column)
			if text == "" && column != "onset" {
				continue
			}
			if *to, err = time.Parse(time.RFC3339, text); err != nil {
				return nil, false, fmt.Errorf("%s:%d: %s %q is no time such as 2026-01-31T08:00:00Z", name, i+2, column, text)
			}
		}
		if l.Bite.IsZero() {
			l.Bite = l.Onset
		}
		labels = append(labels, l)
	}
	return labels, true, nil
}

// shadow is how long after a fault of light, temperature or air was put right
// a culture may still suffer from it.
const shadow = 24 * time.Hour

const (
	// askedFor is for how long a call about a step that nobody entered is right.
	askedFor = 6 * time.Hour
	// enteredIn is how long after a draw or an end its entry may come to explain it.
	enteredIn = 30 * time.Minute
)

// late returns notices of the draws and ends that were entered too late to
// explain what was seen.
func late(f *runfolder.Folder) ([]Label, error) {
	decoder, err := lineproto.New(lineproto.Options{})
	if err != nil {
		return nil, err
	}
	var refused Run
	all, err := entries(f, decoder, &refused)
	var out []Label
	for _, e := range all {
		if (e.Kind == ingest.Harvest || e.Kind == ingest.End) && e.Written.Sub(e.At) > enteredIn {
			out = append(out, Label{Vessel: e.Vessel, Fault: "entered late", Class: string(analysis.Notice), Onset: e.At, Bite: e.At})
		}
	}
	return out, err
}

// explains reports whether the label accounts for an alarm.
func (l Label) explains(a alerts.Alarm) bool {
	class := analysis.Class(l.Class)
	if a.Vessel != l.Vessel || a.Raised.Before(l.Onset) {
		return false
	}
	if class == analysis.Notice { // a draw that nobody entered: to ask about it is right
		return a.Class == analysis.Sensor && a.Raised.Sub(l.Onset) <= askedFor
	}
	if l.Cleared.IsZero() {
		return true
	}
	end := l.Cleared
	if class.Surroundings() && a.Class.Culture() {
		end = end.Add(shadow)
	}
	return !a.Raised.After(end)
}

// fits reports whether an alarm of class a is what a fault of this label
// should raise: one accusing the culture for any fault of the culture.
func (l Label) fits(a analysis.Class) bool {
	class := analysis.Class(l.Class)
	return a == class || class.Culture() && a.Culture()
}

// judged is what came of the faults of one class.
type judged struct {
	labelled, caught int
	delays           []time.Duration
	alarms           int
}

// Report writes for a person what would have been called, and, where labels
// tell what was wrong, what was missed, how late and how often for nothing.
// A fault is caught by a fitting alarm while it lasts, however late; a
// stricter ruler with a horizon for each fault will count fewer.
func Report(w io.Writer, folders []*runfolder.Folder, runs []Run) error {
	s, err := sumUp(folders, runs)
	if err != nil {
		return err
	}
	show(w, s.classes, s.known > 0)
	if s.known == 0 || s.years <= 0 {
		return nil
	}
	_, err = fmt.Fprintf(w, "false alarms: %d in %.2f vessel-years without a fault, %.2f a vessel-year\n", s.nothing, s.years, float64(s.nothing)/s.years)
	return err
}

// summed is what came of all runs.
type summed struct {
	classes map[analysis.Class]*judged
	years   float64 // of vessels without a fault
	nothing int     // alarms that nothing explains
	known   int     // runs of which labels are known
}

func sumUp(folders []*runfolder.Folder, runs []Run) (s summed, err error) {
	s.classes = map[analysis.Class]*judged{}
	for _, c := range analysis.Classes {
		s.classes[c] = &judged{}
	}
	for i := range runs {
		labels, ok, err := Labels(folders[i])
		if err != nil {
			return s, err
		}
		for _, a := range runs[i].Alarms {
			if j := s.classes[a.Class]; j != nil {
				j.alarms++
			}
		}
		if !ok {
			continue
		}
		unentered, err := late(folders[i])
		if err != nil {
			return s, err
		}
		labels = append(labels, unentered...)
		s.known++
		s.years += vesselYears(folders[i], runs[i], labels)
		s.nothing += tally(s.classes, runs[i], labels)
	}
	return s, nil
}

// vesselYears is how long no labelled fault was in force.
func vesselYears(f *runfolder.Folder, run Run, labels []Label) float64 {
	total := time.Duration(len(f.Vessels)) * run.Last.Sub(run.First)
	for _, v := range f.Vessels {
		from := run.Last
		for _, l := range labels {
			if l.Vessel == v.Name && l.Class != string(analysis.Notice) && l.Onset.Before(from) {
				from = l.Onset
			}
		}
		total -= run.Last.Sub(from) // what a fault leaves behind is not counted as sound
	}
	return total.Hours() / 24 / 365.25
}

// tally notes what became of each label and returns how many alarms nothing
// explains.
func tally(classes map[analysis.Class]*judged, run Run, labels []Label) (nothing int) {
	for _, l := range labels {
		j := classes[analysis.Class(l.Class)]
		if j == nil || l.Class == string(analysis.Notice) {
			continue
		}
		j.labelled++
		for _, a := range run.Alarms { // in order of being raised
			if l.explains(a) && l.fits(a.Class) {
				j.caught++
				j.delays = append(j.delays, max(a.Raised.Sub(l.Bite), 0))
				break
			}
		}
	}
	for _, a := range run.Alarms {
		if a.Class != analysis.Notice && !slices.ContainsFunc(labels, func(l Label) bool { return l.explains(a) }) {
			nothing++
		}
	}
	return nothing
}

func show(w io.Writer, classes map[analysis.Class]*judged, labelled bool) {
	for _, c := range analysis.Classes {
		j := classes[c]
		if c == analysis.Notice || j.alarms+j.labelled == 0 {
			continue
		}
		_, _ = fmt.Fprintf(w, "%-12s %3d alarms", c, j.alarms)
		if labelled && j.labelled > 0 {
			_, _ = fmt.Fprintf(w, "; of %d faults %d caught", j.labelled, j.caught)
			if len(j.delays) > 0 {
				slices.Sort(j.delays)
				_, _ = fmt.Fprintf(w, ", median %.1f h after they showed", j.delays[len(j.delays)/2].Hours())
			}
		}
		_, _ = fmt.Fprintln(w)
	}
}
