package page

import (
	"context"
	"errors"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// An invented room in the small hours. Names of strains are of the trade; the
// room, the people and the figures are not anybody's.

var (
	roomZone  = time.FixedZone("CET", 3600)
	smallHour = time.Date(2025, 11, 25, 2, 12, 0, 0, time.UTC)
)

type fixed struct {
	shelf Shelf
	parts []Part
}

func (f fixed) Shelf() Shelf  { return f.shelf }
func (f fixed) Ready() []Part { return f.parts }

// lot invents a vessel whose lot grew with rate mu from od0, up to about top.
func lot(name, kind string, litres, age, od0, mu, top float64, phase analysis.Phase) VesselView {
	v := VesselView{
		Vessel: ingest.Vessel{Name: name, Kind: kind, VolumeL: litres, Zone: roomZone, LightsOn: 6 * time.Hour, LightHours: 16 * time.Hour,
			ParUmol: 95, TempC: 20, TempBand: 2, AirLpm: 2, Interval: time.Minute, HarvestOD: 1.8},
		FilledL: litres * 0.9,
	}
	days := func(d float64) time.Time { return smallHour.Add(time.Duration((d - age) * 24 * float64(time.Hour))) }
	at := func(d, mu float64) float64 { return top / (1 + (top/od0-1)*math.Exp(-mu*d)) }
	for d := 0.0; d <= age; d += age / 150 {
		wave := 1 + 0.03*math.Sin(2*math.Pi*d)
		v.Trail = append(v.Trail, analysis.Point{At: days(d), Value: at(d, mu) * wave})
	}
	for d := 0.0; d <= age+2; d += 0.25 {
		v.Expected = append(v.Expected, CourseBand{At: days(d), Low: at(d, 0.62) * 0.8, High: at(d, 0.85) * 1.15})
	}
	od := v.Trail[len(v.Trail)-1].Value
	v.Estimate = analysis.Estimate{At: smallHour, Lot: name + "-11", Strain: "Chaetoceros muelleri", Medium: "f/2 + Si", Since: days(0),
		Density: analysis.Interval{Low: od * 0.96, Likely: od, High: od * 1.04}, Blank: analysis.Interval{Low: .04, Likely: .05, High: .06}, BlankLearnt: true,
		Growth: analysis.Interval{Low: mu - .1, Likely: mu, High: mu + .1}, Recent: analysis.Interval{Low: -.1, Likely: .05, High: .2},
		Doubling: math.Ln2 / mu, Phase: phase, PhaseSince: days(1)}
	v.Latest = map[ingest.Quantity]analysis.Point{
		unit.OD:          {At: smallHour.Add(-40 * time.Second), Value: od + .05},
		unit.Light:       {At: smallHour.Add(-40 * time.Second), Value: 0.4},
		unit.Temperature: {At: smallHour.Add(-40 * time.Second), Value: 20.3},
		unit.Airflow:     {At: smallHour.Add(-40 * time.Second), Value: 1.9},
	}
	return v
}

// idle invents a vessel without a lot.
func idle(name, kind string, litres float64, phase analysis.Phase) VesselView {
	nan := analysis.Interval{Low: math.NaN(), Likely: math.NaN(), High: math.NaN()}
	return VesselView{
		Vessel:   ingest.Vessel{Name: name, Kind: kind, VolumeL: litres, LightsOn: -1, TempC: math.NaN(), Interval: time.Minute},
		Estimate: analysis.Estimate{At: smallHour, Density: nan, Blank: nan, Growth: nan, Recent: nan, Doubling: math.NaN(), Phase: phase},
	}
}

func airStopped() alerts.Alarm {
	key := analysis.Key{Vessel: "C04", Class: analysis.Airflow}
	since := smallHour.Add(-38 * time.Minute)
	return alerts.Alarm{ID: "a1", Key: key, State: alerts.Unacknowledged, Priority: alerts.High, Raised: since.Add(10 * time.Minute), CallID: "k1",
		Finding: analysis.Finding{Key: key, Since: since, Seen: smallHour, What: "Air stopped, 0.0 of 2.0 L/min",
			Normal: []string{"light", "temperature"}, Cause: "clamp shut or line off the manifold",
			First: "Open the clamp at the air line, then look for bubbles", Sure: 0.93,
			Evidence: []analysis.Evidence{{Name: "airflow", Value: 0, Normal: 2, Unit: "L/min"}, {Name: "density 1 h ago", Value: .61, Normal: math.NaN()}}}}
}

// invented is the room of all tests.
func invented() Shelf {
	stopped := lot("C04", "carboy", 20, 4.2, 0.05, 0.74, 2.6, analysis.Exponential)
	stopped.Latest[unit.Airflow] = analysis.Point{At: smallHour.Add(-40 * time.Second), Value: 0}
	alarm := airStopped()
	stopped.Alarms = []alerts.Alarm{alarm}

	warm := lot("C02", "carboy", 20, 6.6, 0.05, 0.7, 2.4, analysis.Declining)
	warm.Latest[unit.Temperature] = analysis.Point{At: smallHour.Add(-time.Minute), Value: 22.6}
	warm.Estimate.Strain = "Tisochrysis lutea"

	ripe := lot("C03", "carboy", 10, 8.5, 0.06, 0.8, 2.2, analysis.Stationary)
	ripe.Estimate.Doubling = math.NaN()
	ripe.Notices = []analysis.Finding{{Key: analysis.Key{Vessel: "C03", Class: analysis.Notice}, What: "Ready to harvest since Monday", Since: smallHour.Add(-20 * time.Hour)}}

	thin := lot("F1", "flask", 2, 0.9, 0.03, 0.1, 2, analysis.Lag)
	thin.Estimate.Doubling, thin.Estimate.Strain = math.NaN(), "Rhodomonas salina"

	dying := lot("K1", "column", 45, 11, 0.05, 0.7, 2.3, analysis.Death)
	for i := range dying.Trail[100:] {
		dying.Trail[100+i].Value *= math.Exp(-0.02 * float64(i))
	}
	dying.Estimate.Density = analysis.Interval{Low: .8, Likely: .84, High: .88}
	dying.Estimate.Growth, dying.Estimate.Doubling = analysis.Interval{Low: -.3, Likely: -.24, High: -.2}, math.NaN()
	seen := airStopped()
	seen.ID, seen.Vessel, seen.Class, seen.State, seen.Priority, seen.CallID = "a2", "K1", analysis.Crash, alerts.Acknowledged, alerts.Medium, ""
	seen.AckedAt, seen.AckedBy = smallHour.Add(-5*time.Hour), "Mo"
	seen.Finding = analysis.Finding{Key: seen.Key, Since: smallHour.Add(-7 * time.Hour), What: "Losing cells, 24 % a day since the evening"}
	dying.Alarms = []alerts.Alarm{seen}

	bag := lot("B1", "bag", 60, 3.1, 0.08, 0.66, 2.4, analysis.Exponential)
	bag.Estimate.Strain = "Tetraselmis suecica"
	standing := idle("C05", "carboy", 20, analysis.Standing)
	standing.FilledL = 17
	tank := lot("T1", "tank", 250, 5, 0.1, 0.5, 1.6, analysis.Declining)
	tank.FilledL = 0
	tank.Latest[unit.Light] = analysis.Point{At: smallHour.Add(-3 * time.Hour), Value: 40}

	over := airStopped()
	over.ID, over.State, over.Ended, over.CallID = "a0", alerts.Normal, smallHour.Add(-30*time.Hour), ""
	over.Raised, over.Finding.Since = smallHour.Add(-31*time.Hour), smallHour.Add(-32*time.Hour)

	return Shelf{Room: "Lower shelf room", Zone: roomZone, Now: smallHour, Clock: "wall",
		Vessels: []VesselView{lot("C01", "carboy", 20, 3.4, 0.05, 0.78, 2.6, analysis.Exponential), warm, ripe, stopped, standing, bag, thin, dying, tank, idle("C06", "carboy", 10, analysis.Empty)},
		Unknown: []UnknownVessel{{Name: "C13", Readings: 212, Last: smallHour.Add(-20 * time.Second)}},
		SetAside: SetAside{Total: 3, ByReason: map[ingest.Reason]int{ingest.BadValue: 2, ingest.Unreadable: 1},
			Newest: []ingest.Refused{{Reason: ingest.BadValue, Detail: "field od is not a number: \"nan\"", Line: 2, Column: 21, Topic: "shelf/C02",
				Input: []byte("reading,vessel=C02 od=nan"), Size: 25, Arrived: smallHour.Add(-2 * time.Hour)}}},
		Alarms: []alerts.Alarm{over, seen, alarm},
		Calls: []alerts.Call{{ID: "k1", Kind: "alarm.raised", Text: "C04, Chaetoceros muelleri, day 4: air stopped 38 min ago. Open the clamp.", Vessel: "C04",
			State: alerts.Delivered, Attempts: 1, Decided: smallHour.Add(-28 * time.Minute), Done: smallHour.Add(-28 * time.Minute), Phone: "night phone"}},
		Broker: "tcp://shelf.invalid:1883", Topics: []string{"shelf/#"},
	}
}

// past is a history made from the shelf's own trails.
type past struct {
	shelf Shelf
	err   error
}

func (p past) Density(_ context.Context, vessel string, from, to time.Time, points int) ([]analysis.Point, error) {
	v, _ := p.shelf.vessel(vessel)
	return thin(pointsWithin(v.Trail, from, to), points), p.err
}

func (p past) Readings(_ context.Context, _ string, q ingest.Quantity, from, to time.Time, points int) ([]analysis.Point, error) {
	var out []analysis.Point
	step := to.Sub(from) / time.Duration(points)
	for t := from; !t.After(to); t = t.Add(step) {
		h := float64(t.In(roomZone).Hour()) + float64(t.Minute())/60
		lit := h >= 6 && h < 22
		value := map[ingest.Quantity]float64{unit.Light: 0.3, unit.Temperature: 19.6 + 0.7*math.Sin((h-9)/24*2*math.Pi), unit.Airflow: 1.95}[q]
		if q == unit.Light && lit {
			value = 93
		}
		if q == unit.Airflow && to.Sub(t) < 38*time.Minute {
			value = 0
		}
		out = append(out, analysis.Point{At: t, Value: value})
	}
	return out, p.err
}

func (p past) Entries(_ context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error) {
	at := func(h float64) time.Time { return smallHour.Add(-time.Duration(h * float64(time.Hour))) }
	all := []ingest.Entry{
		{Vessel: vessel, Kind: ingest.Neutralise, At: at(104), Written: at(104), Who: "Mo", Fields: map[string]ingest.Value{"thiosulfate_g": ingest.Num(1.5)}},
		{Vessel: vessel, Kind: ingest.Inoculate, At: at(100.8), Written: at(100.8), Who: "Mo",
			Fields: map[string]ingest.Value{"donor": ingest.Text("C01-10"), "volume_l": ingest.Num(2), "lot": ingest.Text(vessel + "-11")}},
		{Vessel: vessel, Kind: ingest.Dose, At: at(100), Written: at(100), Who: "Mo", Fields: map[string]ingest.Value{"part_a_ml": ingest.Num(20)}},
		{Vessel: vessel, Kind: ingest.Look, At: at(42), Written: at(41), Who: "Io", Fields: map[string]ingest.Value{"clean": ingest.Bool(true), "remark": ingest.Text("cells single, no grazers")}},
		{Vessel: vessel, Kind: ingest.WipeSensor, At: at(18), Written: at(18)},
	}
	var out []ingest.Entry
	for _, e := range all {
		if !e.At.Before(from) && !e.At.After(to) {
			out = append(out, e)
		}
	}
	return out, p.err
}

var errDisk = errors.New("disk is away")

// ledger remembers what was acknowledged.
type ledger struct {
	ids, whos []string
	err       error
}

func (l *ledger) Acknowledge(_ context.Context, id, who string) error {
	if l.err != nil {
		return l.err
	}
	l.ids, l.whos = append(l.ids, id), append(l.whos, who)
	return nil
}
