package page

import (
	"math"
	"net/url"
	"slices"
	"strconv"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// card is one vessel as the shelf shows it.
type card struct {
	Name, Path string
	Strain     string
	Age        string // "day 4"
	AgeFull    string // "4 d 7 h old"
	Density    string
	Range      string // 90 % interval of the density
	Unit       string // of both: od, or million cells/mL
	Counted    string // when, where no probe tells; empty: a probe does
	Raw        bool   // Density is a raw reading: no estimate yet
	Unknown    bool   // there is no density at all
	Phase      string
	PhaseMark  string
	Doubling   string // "doubles in 21 h", empty where there is nothing to say
	Harvest    string
	Around     []around
	Drawing    drawing
	Curve      curve
	Alarm      *alarmView // the most urgent one
	MoreAlarms int
	Notices    []string
	Next       string // the step it waits for where no lot grows, empty if none
	NextPath   string
}

// around is one of the surroundings, newest.
type around struct {
	Name, Value, Unit string
	Word              string // what is wrong with it, empty if nothing is
	Unknown           bool
}

// vesselPath is where the page of a vessel is. A name of one or two dots would
// be taken for a step up the path, however it is escaped.
func vesselPath(name string) string {
	if name == "." || name == ".." || name == "" {
		return "/vessel/?name=" + url.QueryEscape(name)
	}
	return "/vessel/" + url.PathEscape(name)
}

func (v viewer) card(s VesselView) card {
	e := s.Estimate
	c := card{
		Name: s.Vessel.Name, Path: vesselPath(s.Vessel.Name), Strain: e.Strain,
		Phase: string(e.Phase), PhaseMark: phaseMark(e.Phase),
		Doubling: growth(e), Harvest: v.harvest(s),
		Drawing: draw(s, v.clock), Curve: smallCurve(s, v.clock),
	}
	if c.Phase == "" {
		c.Phase = "phase " + notKnown
	}
	c.Age, c.AgeFull = v.age(e)
	c.Density, c.Range, c.Raw = density(s)
	c.Unknown, c.Unit = c.Density == notKnown, s.unit()
	if e.ByHand {
		c.Counted = v.clock.at(e.HandAt).Text
	}
	for _, q := range []ingest.Quantity{unit.Light, unit.Temperature, unit.Airflow} {
		c.Around = append(c.Around, v.around(s, q))
	}
	if open := openAlarms(s.Alarms); len(open) > 0 {
		a := v.alarm(open[0])
		c.Alarm, c.MoreAlarms = &a, len(open)-1
	}
	for _, n := range s.Notices {
		c.Notices = append(c.Notices, sentence(n.What))
	}
	return c
}

// age counts from the day of inoculation, which is day 0.
func (v viewer) age(e analysis.Estimate) (day, full string) {
	if e.Since.IsZero() || e.Since.After(v.clock.now) {
		return "", ""
	}
	d := v.clock.now.Sub(e.Since)
	return "day " + strconv.Itoa(int(d/(24*time.Hour))), span(d) + " old"
}

// density writes the density with its interval; where there is no estimate
// yet, the newest raw reading.
func density(s VesselView) (value, interval string, raw bool) {
	d := s.Estimate.Density
	if d.Known() && finite(d.Likely) {
		if finite(d.Low) && finite(d.High) {
			interval = figure(d.Low) + " to " + figure(d.High)
		}
		return figure(d.Likely), interval, false
	}
	if p, ok := s.Latest[unit.OD]; ok && finite(p.Value) {
		return figure(p.Value), "", true
	}
	return notKnown, "", false
}

func growth(e analysis.Estimate) string {
	if t := doubling(e.Doubling); t != "" {
		return "doubles in " + t
	}
	switch e.Phase {
	case analysis.Exponential, analysis.Declining:
		return "doubling time " + notKnown
	case analysis.Lag, analysis.Stationary:
		return "not growing"
	case analysis.Death:
		if g := e.Growth.Likely; finite(g) && g < 0 {
			return "loses " + strconv.Itoa(int(math.Round((1-math.Exp(g))*100))) + " % a day"
		}
	}
	return ""
}

// phaseMark names the little picture beside a phase.
func phaseMark(p analysis.Phase) string {
	switch p {
	case analysis.Lag:
		return "lag"
	case analysis.Exponential:
		return "exponential"
	case analysis.Declining:
		return "declining"
	case analysis.Stationary:
		return "stationary"
	case analysis.Death:
		return "death"
	case analysis.Standing:
		return "standing"
	}
	return "empty"
}

// harvest says when the lot will be ready.
func (v viewer) harvest(s VesselView) string {
	od := s.harvestOD()
	if od <= 0 || s.Estimate.Phase == analysis.Empty || s.Estimate.Phase == analysis.Standing || s.Estimate.Phase == "" {
		return ""
	}
	at := "harvest at " + plain(od)
	if d := s.Estimate.Density; d.Known() && d.Likely >= od {
		return "ready to harvest, past " + plain(od)
	}
	if !s.HarvestAt.IsZero() {
		return at + ": about " + v.clock.day(s.HarvestAt)
	}
	early, late := harvestWindow(s.Expected, v.clock.now, od)
	switch {
	case early.IsZero():
		return at + ": day " + notKnown
	case late.IsZero():
		return at + ": not before " + v.clock.day(early)
	case v.clock.day(early) == v.clock.day(late):
		return at + ": " + v.clock.day(early)
	}
	return at + ": " + v.clock.day(early) + " to " + v.clock.day(late)
}

// silentAfter is for how many of its intervals a sensor may be silent before
// its last value is no longer shown as if it were now, and leastSilence the
// least time for that.
const (
	silentAfter  = 5
	leastSilence = 10 * time.Minute
)

// fresh returns the newest value of q if it is new enough to stand for now.
func fresh(s VesselView, q ingest.Quantity, c clock) (float64, bool) {
	p, ok := s.Latest[q]
	if !ok || !finite(p.Value) || c.now.Sub(p.At) > max(silentAfter*s.Vessel.Interval, leastSilence) {
		return 0, false
	}
	return p.Value, true
}

func (v viewer) around(s VesselView, q ingest.Quantity) around {
	a := around{Name: shownName(q), Unit: shownUnit(q.Unit())}
	p, ok := s.Latest[q]
	if !ok || !finite(p.Value) {
		a.Value, a.Unit, a.Unknown = notKnown, "", true
		if slices.Contains(s.Vessel.Expects, q) {
			a.Word = "no reading"
		}
		return a
	}
	a.Value = measured(q, p.Value)
	if _, ok := fresh(s, q, v.clock); !ok {
		a.Word = "silent " + roughly(v.clock.now.Sub(p.At))
		return a
	}
	a.Word = wrong(s, q, p.Value)
	return a
}

// wrong says what is out of order with a quantity: the band it is set to, or
// what the judge found.
func wrong(s VesselView, q ingest.Quantity, value float64) string {
	if t, band := s.Vessel.TempC, s.Vessel.TempBand; q == unit.Temperature && finite(t) && band > 0 {
		switch {
		case value > t+band:
			return "too warm"
		case value < t-band:
			return "too cold"
		}
	}
	accused := func(k analysis.Key) string {
		switch {
		case k.Class == analysis.Sensor && k.Quantity == q:
			return "sensor doubtful"
		case k.Class == analysis.Light && q == unit.Light,
			k.Class == analysis.Temperature && q == unit.Temperature,
			k.Class == analysis.Airflow && q == unit.Airflow:
			return "out of order"
		}
		return ""
	}
	for _, a := range s.Alarms {
		if w := accused(a.Key); w != "" && (a.Active() || a.State == alerts.Shelved) {
			return w
		}
	}
	for _, f := range s.Notices {
		if w := accused(f.Key); w != "" {
			return w
		}
	}
	return ""
}

// shownName is the short name of a quantity on a card.
func shownName(q ingest.Quantity) string {
	if q == unit.Airflow {
		return "air"
	}
	return q.String()
}

// shownUnit writes a unit as people write it.
func shownUnit(u string) string {
	switch u {
	case "degC":
		return "°C"
	case "umol m-2 s-1":
		return "µmol/m²s"
	}
	return u
}
