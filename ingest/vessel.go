package ingest

import (
	"math"
	"time"
)

// Shape is how a lamp burns over its hours.
type Shape string

// The shapes of a lamp's day.
const (
	Square Shape = "square" // full from the first minute to the last
	Sine   Shape = "sine"   // rises and falls over its hours as half a sine
)

// Vessel is one place on the shelf that holds cultures, with what is set
// there. A zero number means that it is not known.
type Vessel struct {
	Name       string
	Kind       string // carboy, flask, bag, column or tank
	VolumeL    float64
	Zone       *time.Location // of the lamp's hours; nil is UTC
	LightsOn   time.Duration  // local clock time at which the lamp comes on, since midnight; -1 unknown
	LightHours time.Duration  // how long it burns each day, 0 to 24 h
	LightShape Shape
	ParUmol    float64       // light at its peak, umol photons m-2 s-1
	TempC      float64       // set temperature, degC; NaN unknown
	TempBand   float64       // how far from TempC is still right, K
	AirLpm     float64       // set airflow, L/min
	Interval   time.Duration // between two readings of one quantity
	Expects    []Quantity    // what its sensors should send; empty: whatever has been seen
	HarvestOD  float64       // density at which a lot is ready, od above blank
}

// Lit returns how brightly the lamp is set to burn at a time, 0 to 1 of its
// peak: 1 in the hours of a square one, half a sine over the hours of one that
// rises and falls, 0 in its dark hours. NaN where its hours are not known. The
// lamp follows the clock on the wall, so that on a day when the clocks change
// its night is an hour off.
func (v *Vessel) Lit(at time.Time) float64 {
	if v.LightsOn < 0 || v.LightHours <= 0 {
		return math.NaN()
	}
	if v.Zone != nil {
		at = at.In(v.Zone)
	} else {
		at = at.UTC()
	}
	const day = 24 * time.Hour
	clock := time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute + time.Duration(at.Second())*time.Second
	since := (clock - v.LightsOn + day) % day
	switch {
	case since >= v.LightHours:
		return 0
	case v.LightShape == Sine:
		return math.Sin(math.Pi * float64(since) / float64(v.LightHours))
	}
	return 1
}

// Role says what a lot is for.
type Role string

// The roles of a lot.
const (
	Watch     Role = "watch"     // being watched
	Reference Role = "reference" // a finished lot that people hold up as good
)

// Lot is one culture in one vessel, from inoculation to its end.
type Lot struct {
	Name       string
	Vessel     string
	Strain     string
	Medium     string
	Role       Role
	Donor      string
	Inoculated time.Time
	InoculumL  float64 // litres put in
	HarvestOD  float64 // density at which it is ready, od above blank; 0 unknown
	Ended      time.Time
}
