package simulate

import (
	"math/rand/v2"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// DemoHistory is how long the room of a demonstration has stood before its
// night begins.
const DemoHistory = 5 * 24 * time.Hour

// The night of a demonstration, as clock times from its evening on.
const (
	demoSpoiltAt = 14*time.Hour + 50*time.Minute // grazers come in; they bite at about 23:00
	demoSpoils   = 9                             // growth rate of the grazers, 1/d
	demoAirOff   = 24*time.Hour + 1*time.Hour + 40*time.Minute
	demoAirBack  = 24*time.Hour + 4*time.Hour + 30*time.Minute
	demoEnds     = 24*time.Hour + 9*time.Hour
	demoSpoilt   = "C05"
	demoStill    = "C03"
)

// demoPot is one vessel of the demonstration; all of it is invented.
type demoPot struct {
	name, kind           string
	volume, air          float64
	par, temp            float64
	on, hours            time.Duration
	shape                ingest.Shape
	lot, donor, strain   string
	day, hour, inoculumL float64 // of the history, local clock
	harvest              float64
}

var demoPots = []demoPot{
	{"C01", "carboy", 19, 4.0, 110, 21, 6, 16, ingest.Square, "TL-101", "TL-098", "tisochrysis-lutea", 0, 10, 2.0, 0.40},
	{"C02", "carboy", 19, 4.0, 120, 21, 6, 16, ingest.Square, "TS-102", "TS-099", "tetraselmis-suecica", 0, 14, 2.0, 0.40},
	{"C03", "carboy", 19, 4.5, 130, 22, 6, 18, ingest.Square, "CM-103", "CM-100", "chaetoceros-muelleri", 1, 11, 1.8, 0.40},
	{"C04", "carboy", 12, 2.5, 120, 22, 5, 18, ingest.Square, "NO-104", "NO-097", "nannochloropsis-oculata", 0, 11.5, 1.5, 0.45},
	{"C05", "carboy", 19, 4.0, 100, 20, 7, 16, ingest.Sine, "RS-105", "RS-096", "rhodomonas-salina", 0, 16, 2.4, 0.40},
	{"F01", "flask", 2, 0.6, 90, 21, 6, 16, ingest.Square, "RS-106", "RS-105", "rhodomonas-salina", 3, 10, 0.3, 0.40},
	{"K01", "column", 30, 8.0, 150, 21, 0, 24, ingest.Square, "TW-107", "TW-095", "thalassiosira-weissflogii", 2, 9.5, 4.0, 0.40},
	{"B01", "bag", 40, 9.0, 160, 22, 6, 18, ingest.Sine, "TL-108", "TL-101", "tisochrysis-lutea", 3, 15, 5.0, 0.40},
}

// Demo plans an invented shelf of eight vessels over five days and the night
// that follows the day of night, in night's zone, until nine in the morning.
// At about 23:00 grazers that came in by day begin to show in C05, from which
// F01 was started two days before; from 01:40 to 04:30 the air of C03 is off.
// Everything else is well.
func Demo(seed uint64, night time.Time) Plan {
	day := time.Date(night.Year(), night.Month(), night.Day(), 0, 0, 0, 0, night.Location())
	start := day.AddDate(0, 0, -int(DemoHistory.Hours()/24))
	plan := Plan{Start: start, End: clockTime(day, demoEnds), Keeper: UsualKeeper(), Delivery: UsualDelivery()}
	plan.Keeper.Harvest = 0 // by hand below: a demonstration must not depend on luck
	chance := rand.New(rand.NewPCG(seed, 0x6e69676874))
	for i := range demoPots {
		plan.Places = append(plan.Places, demoPots[i].place(start, UsualProbe(chance)))
	}
	plan.Acts = []Act{{Vessel: "C04", Kind: ingest.Harvest, At: clockTime(day.AddDate(0, 0, -1), 10*time.Hour), Litres: 5, Refilled: true,
		Written: clockTime(day.AddDate(0, 0, -1), 10*time.Hour+12*time.Minute)}}
	plan.Faults = []Fault{
		{Kind: Contamination, Vessel: demoSpoilt, From: clockTime(day, demoSpoiltAt), Strength: demoSpoils},
		{Kind: AirOff, Vessel: demoStill, From: clockTime(day, demoAirOff), Until: clockTime(day, demoAirBack)},
	}
	return plan
}

func (d *demoPot) place(start time.Time, probe Probe) Place {
	v := ingest.Vessel{Name: d.name, Kind: d.kind, VolumeL: d.volume, Zone: start.Location(), LightsOn: d.on * time.Hour, LightHours: d.hours * time.Hour,
		LightShape: d.shape, ParUmol: d.par, TempC: d.temp, TempBand: 2, AirLpm: d.air, Interval: time.Minute, HarvestOD: d.harvest}
	at := clockTime(start.AddDate(0, 0, int(d.day)), time.Duration(d.hour*float64(time.Hour)))
	lot := ingest.Lot{Name: d.lot, Vessel: d.name, Strain: d.strain, Medium: "f/2", Role: ingest.Watch, Donor: d.donor, Inoculated: at,
		InoculumL: d.inoculumL, HarvestOD: d.harvest}
	return Place{Vessel: v, Starts: []Start{{Lot: lot}}, Probe: probe}
}
