package analysis

import (
	"encoding/json"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Class is what kind of trouble a finding is.
type Class string

// The classes of findings.
const (
	Stall        Class = "stall"        // not growing as it should
	Crash        Class = "crash"        // losing cells
	Contaminated Class = "contaminated" // growing as it should not
	Light        Class = "light"        // lamp dark, dim, or on in its night
	Temperature  Class = "temperature"  // outside its band
	Airflow      Class = "airflow"      // air off or weak
	Sensor       Class = "sensor"       // silent, stuck, or saying what cannot be
	Notice       Class = "notice"       // worth telling by day, never a call
)

// Classes lists every class.
var Classes = []Class{Stall, Crash, Contaminated, Light, Temperature, Airflow, Sensor, Notice}

// Culture reports whether findings of this class accuse the culture itself.
func (c Class) Culture() bool { return c == Stall || c == Crash || c == Contaminated }

// Surroundings reports whether findings of this class are about light,
// temperature or air.
func (c Class) Surroundings() bool { return c == Light || c == Temperature || c == Airflow }

// Key tells one finding of a vessel from another: the same key is the same
// trouble, for as long as it lasts.
type Key struct {
	Vessel   string
	Class    Class
	Quantity ingest.Quantity // whose sensor is at fault; 0 for the other classes and for a vessel wholly silent
}

// Evidence is one number behind a finding.
type Evidence struct {
	Name   string  // "airflow", "density 3 h ago"
	Value  float64 // what was seen
	Normal float64 // what was expected; NaN where nothing was
	Unit   string
}

// evidenceJSON is Evidence in JSON, which has no NaN: null says unknown.
type evidenceJSON struct {
	Name   string   `json:"name"`
	Value  *float64 `json:"value"`
	Normal *float64 `json:"normal"`
	Unit   string   `json:"unit,omitempty"`
}

// MarshalJSON implements json.Marshaler; what is unknown or infinite is null.
func (e Evidence) MarshalJSON() ([]byte, error) {
	return json.Marshal(evidenceJSON{Name: e.Name, Value: known(e.Value), Normal: known(e.Normal), Unit: e.Unit})
}

// UnmarshalJSON implements json.Unmarshaler; null is NaN.
func (e *Evidence) UnmarshalJSON(data []byte) error {
	var j evidenceJSON
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	*e = Evidence{Name: j.Name, Value: orNaN(j.Value), Normal: orNaN(j.Normal), Unit: j.Unit}
	return nil
}

func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// Finding is what the judge sees in one vessel now.
type Finding struct {
	Key
	Lot string
	// Grade tells a greater trouble of the same key from a lesser: air stopped
	// (1) from air weak (0). Who knows of the lesser must be told of the greater.
	Grade int8
	Since time.Time // when it began, as far as can be told
	Seen  time.Time // when the judge last stood by it
	// What says what is happening as a clause with a capital, without a full
	// stop: "Air stopped, 0.1 of 4.5 L/min".
	What     string
	Normal   []string // surroundings that are as they should be: "light", "temperature"
	Cause    string   // the likeliest cause, a clause
	First    string   // what to do first, a sentence
	Sure     float64  // probability that it is so, 0 to 1
	Evidence []Evidence
}
