package page

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// chart is a lot so far: density on a logarithmic scale, and under it light,
// temperature and air, all on one time axis.
type chart struct {
	ID          string
	Title, Desc string
	Width       int
	Height      int
	Left, Right string // ends of the axis
	Panels      []panel
	Nights      [][2]string // x and width of the hours in which the lamp is off
	Days        []tick
	Marks       []entryMark
	Top, Bottom string // of all panels
	Foot        string // where the words of the time axis stand
	Row         string // where the numbers of the entries stand
	Now         string // x of now, empty if the axis ends there
}

type panel struct {
	Name, Unit  string
	Top, Bottom string
	Label       string // y of the panel's name
	Class       string // "od", "light", "temp", "air"
	Line, Band  string
	Guide       string // y of the set value or the harvest line, empty if none
	GuideDrop   string // from the line to its word
	GuideWord   string
	Ticks       []tick
	Missing     bool
}

type tick struct{ At, Text string }

// entryMark is a logbook entry on the time axis.
type entryMark struct {
	X, Text string
	Label   string // its number in the list, empty where there is no room
}

// record is what is known of a vessel over a time.
type record struct {
	from, to time.Time
	ahead    time.Time // to where the expected course is shown, zero: to the end
	density  []analysis.Point
	around   map[ingest.Quantity][]analysis.Point
	entries  []ingest.Entry
	noted    []logbook.Noted // the same as the logbook has them, withdrawn ones too; nil without a logbook
	trouble  []string        // what could not be read
}

const (
	chartLeft    = 44.0
	chartRight   = 10.0
	panelGap     = 26.0
	entryRow     = 20.0
	densityPanel = 190.0
	aroundPanel  = 58.0
)

// drawChart draws a record at a width, in units that are pixels on screen.
func drawChart(id string, width int, s VesselView, r record, c clock) chart {
	k := chart{ID: id, Title: "Course of " + isolate(s.Vessel.Name), Width: width,
		Left: coordinate(chartLeft), Right: coordinate(float64(width) - chartRight)}
	x := timeScale{from: r.from, to: r.to, a: chartLeft, b: float64(width) - chartRight}
	if !r.ahead.IsZero() {
		x.to = r.ahead
		k.Now = coordinate(x.at(r.to))
	}
	top := panelGap + entryRow
	k.Top, k.Row = coordinate(top), coordinate(top-7)
	k.Panels = append(k.Panels, densityOf(s, r, x, top))
	bottom := top + densityPanel
	for _, q := range []ingest.Quantity{unit.Light, unit.Temperature, unit.Airflow} {
		top = bottom + panelGap
		bottom = top + aroundPanel
		k.Panels = append(k.Panels, surroundings(s, r, q, x, top))
	}
	k.Bottom, k.Foot, k.Height = coordinate(bottom), coordinate(bottom+18), int(bottom+28)
	k.Days = dayTicks(x, c, width)
	k.Nights = lampNights(s.Vessel, x)
	k.Marks = entryMarks(r.entries, x, c)
	k.Desc = chartDesc(r, c)
	return k
}

func chartDesc(r record, c clock) string {
	if usable(r.density) < 2 {
		return "No density is known for this time."
	}
	return courseDesc(r.density, nil, 0, c) + " " + sentence(count(len(r.entries), "logbook entry mark")+" on the axis")
}

func densityOf(s VesselView, r record, x timeScale, top float64) panel {
	band := within(s.Expected, x.from, x.to)
	y := densityScale(r.density, band, s.harvestOD(), top+densityPanel, top)
	p := panel{Name: "density", Unit: densityUnit(s), Class: "od", Top: coordinate(top), Bottom: coordinate(top + densityPanel),
		Label: coordinate(top - 8 - entryRow), Line: line(r.density, x, y), Band: area(band, x, y), Ticks: logTicks(y)}
	p.Missing = p.Line == ""
	if h := s.harvestOD(); h > 0 && h <= math.Exp(y.hi) {
		p.guide(y.at(h), top, "harvest at "+plain(h))
	}
	return p
}

func densityUnit(s VesselView) string {
	switch {
	case s.Unit != "":
		return s.Unit + ", log scale"
	case s.Estimate.ByHand:
		return "od by hand, log scale"
	}
	return "od above blank, log scale"
}

// guide draws a line across the panel, its word above it or, near the top,
// below.
func (p *panel) guide(at, top float64, word string) {
	const room = 16
	p.Guide, p.GuideDrop, p.GuideWord = coordinate(at), "-5", word
	if at-top < room {
		p.GuideDrop = "14"
	}
}

func surroundings(s VesselView, r record, q ingest.Quantity, x timeScale, top float64) panel {
	points := r.around[q]
	p := panel{Name: shownName(q), Unit: shownUnit(q.Unit()), Top: coordinate(top), Bottom: coordinate(top + aroundPanel),
		Label: coordinate(top - 8), Class: map[ingest.Quantity]string{unit.Light: "light", unit.Temperature: "temp", unit.Airflow: "air"}[q]}
	set := setValue(s.Vessel, q)
	y := linearScale(points, set, q != unit.Temperature, top+aroundPanel, top)
	p.Line, p.Ticks = line(points, x, y), linearTicks(y)
	p.Missing = p.Line == ""
	if finite(set) && !p.Missing {
		p.guide(y.at(set), top, "set "+plain(set))
	}
	return p
}

// setValue is what the quantity is set to, NaN if that is not known.
func setValue(v ingest.Vessel, q ingest.Quantity) float64 {
	switch {
	case q == unit.Temperature:
		return v.TempC
	case q == unit.Light && v.ParUmol > 0:
		return v.ParUmol
	case q == unit.Airflow && v.AirLpm > 0:
		return v.AirLpm
	}
	return math.NaN()
}

// linearScale holds the points and the set value, and zero where that is the
// end of what the quantity can be.
func linearScale(points []analysis.Point, set float64, zero bool, bottom, top float64) scale {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		if finite(p.Value) {
			lo, hi = min(lo, p.Value), max(hi, p.Value)
		}
	}
	if finite(set) {
		lo, hi = min(lo, set), max(hi, set)
	}
	if math.IsInf(lo, 0) {
		lo, hi = 0, 1
	}
	if zero {
		lo, hi = min(lo, 0), max(hi, 1e-3)
	}
	if hi-lo < 2 && !zero {
		mid := (lo + hi) / 2
		lo, hi = mid-1, mid+1
	}
	return scale{lo: lo, hi: hi + (hi-lo)*0.08, a: bottom, b: top}
}

// logTicks are round densities: 1, 2 and 5 times a power of ten, or the powers
// alone where those would crowd.
func logTicks(y scale) []tick {
	const most = 6
	for _, steps := range [][]float64{{1, 2, 5}, {1, 3}, {1}} {
		var out []tick
		for e := math.Floor(max(y.lo/math.Ln10, -20)); e <= min(math.Ceil(y.hi/math.Ln10), 20); e++ {
			for _, m := range steps {
				if v := m * math.Pow(10, e); math.Log(v) >= y.lo-1e-9 && math.Log(v) <= y.hi+1e-9 {
					out = append(out, tick{At: coordinate(y.at(v)), Text: plain(v)})
				}
			}
		}
		if len(out) <= most {
			return out
		}
	}
	return nil
}

// linearTicks are two round values near the ends.
func linearTicks(y scale) []tick {
	step := math.Pow(10, math.Floor(math.Log10(y.hi-y.lo)))
	for _, f := range []float64{5, 2, 1, 0.5} {
		first, last := math.Ceil(y.lo/(f*step))*f*step, math.Floor(y.hi/(f*step))*f*step
		if last > first {
			return []tick{{coordinate(y.at(first)), plain(first)}, {coordinate(y.at(last)), plain(last)}}
		}
	}
	return nil
}

// dayTicks are the midnights of the room, and hours where the time is short.
func dayTicks(x timeScale, c clock, width int) []tick {
	room := int(float64(width)-chartLeft) / 64
	for _, step := range []int{3, 6, 12, 24, 48, 72, 168, 336, 720} {
		if x.to.Sub(x.from).Hours()/float64(step) > float64(room) {
			continue
		}
		var out []tick
		for t, i := midnight(x.from, c.zone), 1; !t.After(x.to); i++ {
			if x.holds(t) && x.at(t) < x.b-18 {
				out = append(out, tick{At: coordinate(x.at(t)), Text: tickWord(t)})
			}
			l := x.from.In(c.zone)
			t = time.Date(l.Year(), l.Month(), l.Day(), i*step, 0, 0, 0, c.zone)
		}
		return out
	}
	return nil
}

func tickWord(t time.Time) string {
	if t.Hour() == 0 {
		return t.Format("Mon 2")
	}
	return t.Format("15:04")
}

func midnight(t time.Time, zone *time.Location) time.Time {
	l := t.In(zone)
	return time.Date(l.Year(), l.Month(), l.Day(), 0, 0, 0, 0, zone)
}

// lampNights are the hours in which the lamp is set to be off.
func lampNights(v ingest.Vessel, x timeScale) [][2]string {
	const most = 90 * 24 * time.Hour // beyond that the stripes are finer than the line
	if v.LightsOn < 0 || v.LightHours <= 0 || v.LightHours >= 24*time.Hour || x.to.Sub(x.from) > most {
		return nil
	}
	zone := v.Zone
	if zone == nil {
		zone = time.UTC
	}
	var out [][2]string
	first := midnight(x.from, zone).AddDate(0, 0, -1)
	for i := 0; ; i++ {
		d := first.AddDate(0, 0, i)
		off := clockTime(d, v.LightsOn+v.LightHours)
		on := clockTime(d.AddDate(0, 0, 1), v.LightsOn)
		if off.After(x.to) {
			return out
		}
		if on.Before(x.from) {
			continue
		}
		a, b := x.at(off), x.at(on)
		out = append(out, [2]string{coordinate(a), coordinate(b - a)})
	}
}

// clockTime is a time of day by the clock on the wall, also on the days on
// which that clock is changed.
func clockTime(day time.Time, d time.Duration) time.Time {
	return time.Date(day.Year(), day.Month(), day.Day(), 0, int(d/time.Minute), 0, 0, day.Location())
}

// entryMarks puts entries on the axis, numbered as in the list below it.
func entryMarks(entries []ingest.Entry, x timeScale, c clock) []entryMark {
	const room = 15.0
	var out []entryMark
	last := math.Inf(-1)
	for i, e := range entries {
		if !x.holds(e.At) {
			continue
		}
		m := entryMark{X: coordinate(x.at(e.At)), Text: number(i) + ". " + entryWords(e) + ", " + c.at(e.At).Text}
		if x.at(e.At)-last >= room {
			m.Label, last = number(i), x.at(e.At)
		}
		out = append(out, m)
	}
	return out
}
