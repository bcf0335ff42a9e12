package config

import (
	"slices"
	"time"

	"gopkg.in/yaml.v3"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

// vessels reads the vessels: what defaults says first, then their own words.
func (d *decoder) vessels(room *block, c *Config) {
	shared := freshVessel()
	var common *block
	if n := room.value("defaults"); n != nil {
		common = d.block(n, "defaults")
		common.vessel(&shared)
		if p := common.find("name"); p.key != nil {
			d.fault(p.key, "defaults holds what all vessels share; %s is each one's own", quoted("name"))
		}
		common.close()
	}
	n := room.value("vessels")
	if n == nil {
		room.missing("vessels", "name at least one, such as - {name: C01, volume_l: 10}")
		return
	}
	items := room.items("vessels", 10000)
	if n.Kind == yaml.SequenceNode && len(items) == 0 {
		d.fault(n, "vessels is an empty list; name at least one")
	}
	lines := map[string]int{}
	for _, item := range items {
		v := shared
		b := d.block(item, "a vessel")
		b.text("name", &v.Name)
		b.name(v.Name, "vessel", 64, lines)
		b.vessel(&v)
		b.close()
		v.lampHours(b, common)
		v.unprobed(b)
		c.Vessels = append(c.Vessels, v)
	}
}

// name checks that the name of a thing is there, fits and is not taken. Lines
// remembers where each was given.
func (b *block) name(name, thing string, most int, lines map[string]int) {
	n := b.value("name")
	switch {
	case name == "":
		if b.blank("name") {
			b.missing("name", "give the "+thing+" the name that people call it by")
		}
	case len(name) > most:
		b.fault(n, "the name of a %s must be at most %d bytes, not %s", thing, most, quoted(name))
	case lines[name] != 0:
		b.fault(n, "there are two %ss named %s, in lines %d and %d; give each a name of its own", thing, quoted(name), lines[name], n.Line)
	default:
		lines[name] = n.Line
	}
}

// vessel reads what may stand under a vessel as well as under defaults.
func (b *block) vessel(v *Vessel) {
	b.choice("kind", &v.Kind, "carboy", "flask", "bag", "column", "tank")
	b.number("volume_l", &v.VolumeL, 0.05, 20000, " L")
	b.clock("lights_on", &v.LightsOn, false)
	hours := v.LightHours.Hours()
	if b.number("light_hours", &hours, 0.5, 24, " h") != nil {
		v.LightHours = time.Duration(hours * float64(time.Hour)).Round(time.Second)
	}
	b.choice("light_shape", &v.LightShape, "square", "sine")
	b.number("par_umol", &v.ParUmol, 1, 3000, " umol m-2 s-1")
	b.number("temp_c", &v.TempC, -2, 45, " degC")
	b.number("temp_band_k", &v.TempBandK, 0.2, 15, " K")
	b.number("air_lpm", &v.AirLpm, 0.01, 500, " L/min")
	b.yes("by_hand", &v.ByHand)
	b.duration("interval", &v.Interval, time.Second, 6*time.Hour)
	b.quantities(v)
	b.number("harvest_od", &v.HarvestOD, 0.01, 50, "")
}

// unprobed takes from a vessel that is counted by hand what others are
// expected to send: it sends what it says itself, and no od.
func (v *Vessel) unprobed(b *block) {
	if !v.ByHand {
		return
	}
	if !b.has("quantities") {
		v.Quantities, v.Interval = nil, 0
		return
	}
	for _, q := range v.Quantities {
		if q == unit.OD || q == unit.OD2 {
			b.fault(b.value("quantities"), "a vessel that is counted by_hand has no probe that sends %s; take one of the two out", quoted(q.Field()))
		}
	}
	if len(v.Quantities) == 0 {
		v.Interval = 0
	}
}

// quantities reads what the sensors of a vessel send.
func (b *block) quantities(v *Vessel) {
	if !b.has("quantities") {
		return
	}
	v.Quantities = nil
	for _, n := range b.items("quantities", 20) {
		name, ok := b.scalar(n, "a quantity")
		if !ok {
			continue
		}
		switch q, other := keptQuantity(name), quantityOf(name); {
		case q == 0 && other != 0:
			b.fault(n, "the quantity %s is named %s here, whatever unit its sensor sends", quoted(name), other.Field())
		case q == 0:
			b.fault(n, "there is no quantity %s; %s", quoted(name), meant(name, keptNames))
		case slices.Contains(v.Quantities, q):
			b.fault(n, "the quantity %s is named twice", quoted(name))
		default:
			v.Quantities = append(v.Quantities, q)
		}
	}
}

// lampHours checks that the lamp's day is known whole or not at all: half of
// it would leave the watcher without a night. It is complained about where it
// was said, under the vessel or under defaults.
func (v *Vessel) lampHours(b, common *block) {
	said := func(key string) *yaml.Node {
		if n := b.value(key); n != nil || common == nil {
			return n
		}
		return common.value(key)
	}
	on, hours := said("lights_on"), said("light_hours")
	switch {
	case on != nil && hours == nil:
		b.fault(on, "lights_on %s needs light_hours beside it: how long the lamp burns", quoted(on.Value))
	case on == nil && hours != nil && v.LightHours > 0 && v.LightHours < 24*time.Hour:
		b.fault(hours, "light_hours %s needs lights_on beside it: when the lamp comes on", quoted(hours.Value))
	}
	if on == nil && v.LightHours == 24*time.Hour {
		v.LightsOn = 0
	}
}
