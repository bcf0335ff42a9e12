package runfolder

import (
	"errors"
	"math"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Bounds that catch a slip of the pen, far beyond any culture room.
const (
	maxLitres   = 1e6
	maxLight    = 1e4 // full sun is about 2,000 umol m-2 s-1
	maxAir      = 1e5 // L/min
	maxInterval = 7 * 86400
)

// clock is how lights_on is written.
const clock = "15:04"

func readVessels(path string) ([]ingest.Vessel, error) {
	t, file, err := openTable(path, "vessel")
	if err != nil {
		return nil, err
	}
	var all []ingest.Vessel
	seen := map[string]bool{}
	for t.next() {
		v := t.vessel()
		if seen[v.Name] {
			t.wrong("vessel", "named twice")
		}
		seen[v.Name] = true
		all = append(all, v)
	}
	return all, errors.Join(t.faults(), file.Close())
}

func (t *table) vessel() ingest.Vessel {
	seconds := t.number("interval_s", 0, 0, maxInterval)
	hours := t.number("light_hours", 0, 0, 24)
	return ingest.Vessel{
		Name:       t.name("vessel"),
		Kind:       t.text("kind"),
		VolumeL:    t.number("volume_l", 0, 0, maxLitres),
		Zone:       t.zone(),
		LightsOn:   t.lightsOn(),
		LightHours: time.Duration(hours * float64(time.Hour)).Round(time.Second),
		LightShape: t.shape(),
		ParUmol:    t.number("par_umol", 0, 0, maxLight),
		TempC:      t.number("temp_c", math.NaN(), -10, 100),
		TempBand:   t.number("temp_band_k", 0, 0, 100),
		AirLpm:     t.number("air_lpm", 0, 0, maxAir),
		Interval:   time.Duration(seconds * float64(time.Second)).Round(time.Millisecond),
		Expects:    t.expects(),
		HarvestOD:  t.number("harvest_od", 0, 0, 1000),
	}
}

func (t *table) name(column string) string {
	name := t.text(column)
	if !ingest.ValidVesselName(name) {
		t.wrong(column, "not a name of 1 to %d bytes", ingest.MaxVesselName)
	}
	return name
}

func (t *table) zone() *time.Location {
	cell := t.text("zone")
	if cell == "" {
		return time.UTC
	}
	zone, err := time.LoadLocation(cell)
	if err != nil || cell == "Local" { // Local is whatever machine reads it
		t.wrong("zone", "not a zone of the IANA time zone database")
		return time.UTC
	}
	return zone
}

func (t *table) lightsOn() time.Duration {
	cell := t.text("lights_on")
	if cell == "" {
		return -1
	}
	at, err := time.Parse(clock, cell)
	if err != nil {
		t.wrong("lights_on", "not a clock time HH:MM")
		return -1
	}
	return time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute
}

func (t *table) shape() ingest.Shape {
	switch shape := ingest.Shape(t.text("light_shape")); shape {
	case "":
		return ingest.Square
	case ingest.Square, ingest.Sine:
		return shape
	}
	t.wrong("light_shape", "neither %s nor %s", ingest.Square, ingest.Sine)
	return ingest.Square
}

// expects reads field names, such as "od temp_c", parted by spaces.
func (t *table) expects() []ingest.Quantity {
	var all []ingest.Quantity
next:
	for _, field := range strings.Fields(t.text("expects")) {
		for _, q := range unit.All {
			if q.Field() == field {
				all = append(all, q)
				continue next
			}
		}
		t.wrong("expects", "no quantity %q", field)
	}
	return all
}

func readLots(path string) ([]ingest.Lot, error) {
	t, file, err := openTable(path, "lot", "vessel")
	if err != nil {
		return nil, err
	}
	var all []ingest.Lot
	for t.next() {
		all = append(all, t.lot())
	}
	return all, errors.Join(t.faults(), file.Close())
}

func (t *table) lot() ingest.Lot {
	l := ingest.Lot{
		Name:       t.text("lot"),
		Vessel:     t.name("vessel"),
		Strain:     t.text("strain"),
		Medium:     t.text("medium"),
		Role:       t.role(),
		Donor:      t.text("donor"),
		Inoculated: t.instant("inoculated_at"),
		InoculumL:  t.number("inoculum_l", 0, 0, maxLitres),
		HarvestOD:  t.number("harvest_od", 0, 0, 1000),
		Ended:      t.instant("ended_at"),
	}
	if !l.Ended.IsZero() && l.Ended.Before(l.Inoculated) {
		t.wrong("ended_at", "before inoculated_at")
	}
	return l
}

func (t *table) role() ingest.Role {
	switch role := ingest.Role(t.text("role")); role {
	case "":
		return ingest.Watch
	case ingest.Watch, ingest.Reference:
		return role
	}
	t.wrong("role", "neither %s nor %s", ingest.Watch, ingest.Reference)
	return ingest.Watch
}
