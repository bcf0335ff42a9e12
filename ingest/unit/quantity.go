// Package unit knows the quantities a sensor can measure, the field names
// that carry them and the conversion of every unit that is accepted to the
// one unit that is kept.
package unit

// Quantity is one kind of measurement. The zero Quantity is none.
// Its number is written to disk: never renumber.
type Quantity uint8

// The quantities and the unit each is kept in.
const (
	OD          Quantity = 1 // optical density, dimensionless, per the probe's own path
	Temperature Quantity = 2 // degrees Celsius
	Light       Quantity = 3 // photosynthetically active radiation, umol photons m-2 s-1
	Airflow     Quantity = 4 // litres per minute
	OD2         Quantity = 5 // optical density at a second wavelength, dimensionless
	PH          Quantity = 6 // pH, dimensionless
)

// Count is one more than the highest Quantity: arrays indexed by Quantity
// have this length.
const Count = 7

// Largest bounds what is taken for a reading at all, in the kept unit of any
// quantity, either side of zero: ten times the light of the sun in lux. Beyond
// it lie a device's words for "no value", not measurements.
const Largest = 1e6

// All lists every quantity in the order of its number.
var All = [...]Quantity{OD, Temperature, Light, Airflow, OD2, PH}

type words struct{ field, name, unit string }

var table = [Count]words{
	OD:          {"od", "optical density", ""},
	Temperature: {"temp_c", "temperature", "degC"},
	Light:       {"par_umol", "light", "umol m-2 s-1"},
	Airflow:     {"air_lpm", "airflow", "L/min"},
	OD2:         {"od2", "second optical density", ""},
	PH:          {"ph", "pH", ""},
}

// Field returns the line-protocol field name of q in its kept unit, such as
// "temp_c"; empty for a quantity that does not exist.
func (q Quantity) Field() string {
	if int(q) >= len(table) {
		return ""
	}
	return table[q].field
}

// String returns the name of q for people, such as "temperature".
func (q Quantity) String() string {
	if int(q) >= len(table) || q == 0 {
		return "no quantity"
	}
	return table[q].name
}

// Unit returns the unit q is kept in, empty where it is dimensionless.
func (q Quantity) Unit() string {
	if int(q) >= len(table) {
		return ""
	}
	return table[q].unit
}

// Valid reports whether q is one of the quantities above.
func (q Quantity) Valid() bool { return q > 0 && int(q) < len(table) }
