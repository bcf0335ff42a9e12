package judge

import (
	"fmt"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

func (b *bench) temperature() {
	set, band := b.Vessel.TempC, b.Vessel.TempBand
	if math.IsNaN(set) || set == 0 || band <= 0 || !b.fresh(unit.Temperature, tooWarm, tooCold) {
		return
	}
	t := b.Track.Newest[unit.Temperature].Median()
	if t < possible[unit.Temperature].low || t > possible[unit.Temperature].high {
		return // its newest values are still of a probe that lost contact
	}
	warm := b.holdFrom(tooWarm, t > set+band-b.deadband(tooWarm, band), unit.Temperature)
	cold := b.holdFrom(tooCold, t < set-band+b.deadband(tooCold, band), unit.Temperature)
	evidence := []analysis.Evidence{{Name: "temperature", Value: t, Normal: set, Unit: "degC"}}
	switch {
	case warm != 0:
		b.find(analysis.Temperature, 0, warm, analysis.Finding{
			Grade: 1, // heat kills, cold slows
			What:  fmt.Sprintf("Too warm, %.1f degC where %.1f is set", t, set),
			Cause: "the room's cooling, or a lamp too near", Evidence: evidence,
			First: "Bring the room's temperature down; open the door, shade or dim the lamps."})
	case cold != 0:
		b.find(analysis.Temperature, 0, cold, analysis.Finding{
			What:  fmt.Sprintf("Too cold, %.1f degC where %.1f is set", t, set),
			Cause: "the room's heating", Evidence: evidence,
			First: "Check the heater and the door; cold slows a culture but rarely kills it."})
	}
}

// deadband is how far inside the band the temperature must come back before a
// finding ends: a tenth of the band (ISA-18.2 and EEMUA 191 start from 1 % of
// a probe's range, which is the same here).
func (b *bench) deadband(condition int, band float64) float64 {
	if b.Held[condition] == 0 {
		return 0
	}
	return band / 10
}

const (
	offBelow  = 0.25 // share of the usual airflow below which air counts as off
	weakBelow = 0.65 // and as weak; clamps creep and filters clog, airstones pulse by a tenth
	weakFor   = 40 * time.Minute
)

func (b *bench) air() {
	if !b.fresh(unit.Airflow, airOff, airWeak) {
		return
	}
	n := &b.Track.Newest[unit.Airflow]
	seen, usual := n.Median(), b.usualAir(n.Median())
	if !(usual > 0) {
		return
	}
	off := b.holdFrom(airOff, seen < usual*(offBelow+b.more(airOff)), unit.Airflow)
	weak := b.hold(airWeak, seen < usual*(weakBelow+b.more(airWeak)))
	// Weak air keeps cells in suspension; only without any do they settle.
	if off != 0 {
		if b.now-b.AirBad > settlesIn.Milliseconds() {
			b.AirFrom = b.now
		}
		b.AirBad = b.now
	}
	evidence := []analysis.Evidence{{Name: "airflow", Value: seen, Normal: usual, Unit: "L/min"}}
	switch {
	case off != 0:
		b.find(analysis.Airflow, 0, off, analysis.Finding{
			Grade: 1,
			What:  fmt.Sprintf("Air stopped, %.1f of %.1f L/min", math.Max(seen, 0), usual),
			Cause: "a shut clamp, a slipped tube or the pump", Evidence: evidence,
			First: "Open the vent, then look at clamp, tube and pump."})
	case weak != 0 && b.lasted(airWeak, weakFor):
		b.find(analysis.Airflow, 0, weak, analysis.Finding{
			What:  fmt.Sprintf("Air weak, %.1f of %.1f L/min", seen, usual),
			Cause: "a kinked tube, a clogged filter or airstone, or a clamp that creeps", Evidence: evidence,
			First: "Open the vent, then look at tube, filter and airstone."})
	}
}

// more is the deadband of an airflow, as a share: 5 % (ISA-18.2 and EEMUA 191,
// starting value for flows).
func (b *bench) more(condition int) float64 {
	if b.Held[condition] == 0 {
		return 0
	}
	return 0.05
}

// usualAir is the airflow set, or where none is set the slow mean of what was
// seen while it was not falling.
func (b *bench) usualAir(seen float64) float64 {
	if b.Vessel.AirLpm > 0 {
		return b.Vessel.AirLpm
	}
	usual := float64(b.Air)
	if usual == 0 || seen > weakBelow*usual {
		usual += (seen - usual) / 1440 // a day of minutes
		if b.Air == 0 {
			usual = seen
		}
		b.Air = float32(usual)
	}
	return usual
}
