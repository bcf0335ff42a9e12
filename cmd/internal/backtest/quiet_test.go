package backtest

import (
	"fmt"
	"math"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// watched returns the watch of an invented room, as the backtest would build it
// for the run folder of that room.
func (r *inventedRoom) watched() *room.Room {
	f := &runfolder.Folder{Name: r.name, Vessels: r.plan.Vessels(), Lots: r.plan.Lots()}
	return room.New(room.Options{Name: r.name, Vessels: vessels(f, Options{}), Staffed: staffed, FollowReadings: true, Courses: r.courses})
}

// live plays a room through its watch, in memory. What it returns holds the
// alarms alone.
func (r *inventedRoom) live() (Run, *simulate.Room) {
	out := Run{Name: r.name}
	world, watch := simulate.New(r.plan, r.seed), r.watched()
	for {
		readings, entries, ok := world.Step()
		if !ok {
			return out, world
		}
		out.take(watch.Digest(ingest.Batch{Entries: entries}, watch.Now()))
		out.take(watch.Digest(ingest.Batch{Readings: readings}, watch.Now()))
	}
}

// records plays a room and returns what its lots recorded.
func (r *inventedRoom) records() []expect.Record {
	f := &runfolder.Folder{Name: r.name, Vessels: r.plan.Vessels(), Lots: r.plan.Lots()}
	seen, world := byhour.Gather(f), simulate.New(r.plan, r.seed)
	for {
		readings, _, ok := world.Step()
		if !ok {
			break
		}
		for _, reading := range readings {
			seen[reading.Vessel].Take(reading)
		}
	}
	var out []expect.Record
	for _, l := range f.Lots {
		h := seen[l.Vessel]
		rec := h.Record(l.Name, l.Strain, l.Medium, l.Inoculated, h.End())
		rec.Ready = l.HarvestOD
		out = append(out, rec)
	}
	return out
}

// taught draws the season and returns the rooms to watch, which know what the
// reference rooms teach.
func (o invented) taught() []inventedRoom {
	rooms := o.plan()
	var records []expect.Record
	for i := range rooms[:o.references] {
		records = append(records, rooms[i].records()...)
	}
	courses := expect.Learn(records)
	watched := rooms[o.references:]
	for i := range watched {
		watched[i].courses = &courses
	}
	return watched
}

// falseAlarms are the alarms of rooms in which nothing was wrong.
type falseAlarms struct {
	culture, other int
	years          float64 // of vessels
	said           []string
}

func (f *falseAlarms) add(b falseAlarms) {
	f.culture, f.other, f.years, f.said = f.culture+b.culture, f.other+b.other, f.years+b.years, append(f.said, b.said...)
}

const (
	year = 365.25 * 24 * time.Hour
	// A question about a step that nobody entered in time is right for so long;
	// an entry is in time for half an hour.
	askedWithin = 6 * time.Hour
	inTime      = 30 * time.Minute
)

// tally counts the alarms of a room in which nothing was wrong.
func (r *inventedRoom) tally() falseAlarms {
	run, world := r.live()
	out := falseAlarms{years: float64(len(r.plan.Places)) * float64(r.plan.End.Sub(r.plan.Start)) / float64(year)}
	free := unentered(world.Acts())
	for _, a := range run.Alarms {
		switch {
		case a.Class == analysis.Notice || a.Class == analysis.Sensor && free.ask(a.Vessel, a.Raised):
			continue
		case a.Class.Culture():
			out.culture++
		default:
			out.other++
		}
		out.said = append(out.said, fmt.Sprintf("%s %s every %v %s: %s %s", r.name, a.Vessel, r.plan.Places[0].Vessel.Interval, a.Raised.Format(time.RFC3339), a.Class, a.Finding.What))
	}
	return out
}

// steps are draws and ends that nobody entered in time, by vessel, which may be
// asked about once each.
type steps map[string][]time.Time

func unentered(acts []simulate.Act) steps {
	s := steps{}
	for _, a := range acts {
		if (a.Kind == ingest.Harvest || a.Kind == ingest.End) && (a.Written.IsZero() || a.Written.Sub(a.At) > inTime) {
			s[a.Vessel] = append(s[a.Vessel], a.At)
		}
	}
	return s
}

func (s steps) ask(vessel string, at time.Time) bool {
	for i, step := range s[vessel] {
		if since := at.Sub(step); since >= -10*time.Minute && since < askedWithin {
			s[vessel] = append(s[vessel][:i:i], s[vessel][i+1:]...)
			return true
		}
	}
	return false
}

// tallyAll counts over all rooms, as many at a time as there are cores.
func tallyAll(rooms []inventedRoom) falseAlarms {
	each := make([]falseAlarms, len(rooms))
	var group sync.WaitGroup
	turns := newTurns()
	for i := range rooms {
		group.Go(func() {
			turns.take()
			defer turns.give()
			each[i] = rooms[i].tally()
		})
	}
	group.Wait()
	var all falseAlarms
	for _, f := range each {
		all.add(f)
	}
	return all
}

// poissonBounds are the ends of the exact interval of confidence for the mean of
// which n was counted: Garwood 1936, Biometrika 28:437-442, by quantiles of
// the gamma distribution.
func poissonBounds(n int, confidence float64) (low, high float64) {
	tail := (1 - confidence) / 2
	if n > 0 {
		low = distuv.Gamma{Alpha: float64(n), Beta: 1}.Quantile(tail)
	}
	return low, distuv.Gamma{Alpha: float64(n + 1), Beta: 1}.Quantile(1 - tail)
}

func TestPoissonBounds(t *testing.T) {
	for _, c := range []struct {
		n         int
		low, high float64
	}{ // the usual table of 95 per cent bounds, from memory; none seen gives 3.689, -ln 0.025
		{0, 0, 3.689}, {1, 0.0253, 5.572}, {5, 1.623, 11.668}, {10, 4.795, 18.390},
	} {
		if low, high := poissonBounds(c.n, 0.95); math.Abs(low-c.low) > 6e-4 || math.Abs(high-c.high) > 6e-4 {
			t.Errorf("%d: %.4f to %.4f, want %.4f to %.4f", c.n, low, high, c.low, c.high)
		}
	}
}

// What people understand is no more than one false call a month from a room;
// with twelve vessels that is one in a vessel-year. At that rate the short form
// would see more than mostFalse in one season of 270, and more than two that
// accuse a culture, if they are half of them, in one of 70.
const mostFalse, mostCulture = 4, 2

// TestQuietSeasons plays seasons in which nothing is wrong and counts what is
// called. The short form is a vessel-year, a room each of the three intervals;
// the long form, of as many vessel-years as the environment says, only prints.
func TestQuietSeasons(t *testing.T) {
	o := invented{seed: uint64(number(t, "NIGHTSHELF_SEED", 1)), rooms: 3, references: 3}
	if years := number(t, "NIGHTSHELF_VESSEL_YEARS", 0); years > 0 {
		o.rooms = int(math.Ceil(years * year.Hours() / 24 / (inventedVessels * inventedDays)))
		report(t, tallyAll(o.taught()))
		return
	}
	f := tallyAll(o.taught())
	report(t, f)
	if f.culture+f.other > mostFalse || f.culture > mostCulture {
		t.Errorf("%d culture alarms and %d others with nothing wrong, want %d at most, %d of culture:\n%s",
			f.culture, f.other, mostFalse, mostCulture, strings.Join(f.said, "\n"))
	}
	// The same count over rooms where everything is wrong must be beyond that, or
	// the judge sleeps.
	o.faults, o.rooms = 1, 2
	if wrong := tallyAll(o.taught()); wrong.culture <= mostCulture || wrong.culture+wrong.other <= mostFalse {
		t.Errorf("with every vessel struck: %d culture alarms and %d others", wrong.culture, wrong.other)
	}
}

func report(t *testing.T, f falseAlarms) {
	rate := func(n int) string {
		low, high := poissonBounds(n, 0.95)
		return fmt.Sprintf("%d, %.2f a vessel-year (95 %%: %.2f to %.2f)", n, float64(n)/f.years, low/f.years, high/f.years)
	}
	t.Logf("%.2f vessel-years without a fault\nculture: %s\nother:   %s\nall:     %s", f.years, rate(f.culture), rate(f.other), rate(f.culture+f.other))
	if os.Getenv("NIGHTSHELF_VESSEL_YEARS") != "" {
		t.Log("\n" + strings.Join(f.said, "\n"))
	}
}
