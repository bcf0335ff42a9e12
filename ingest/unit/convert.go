package unit

import (
	"fmt"
	"math"
	"strings"
)

// DefaultLuxPerUmol is how many lux one umol m-2 s-1 of photosynthetically
// active radiation makes under cool white fluorescent light. Other lamps, from
// the same table: sunlight 54, high pressure sodium 82, metal halide 71; white
// LEDs lie about 60 to 75 (from memory).
//
// Thimijan & Heins, "Photometric, radiometric, and quantum light units of
// measure", HortScience 18:818-822, 1983.
const DefaultLuxPerUmol = 74

// Units holds what a conversion must know about the room. The zero Units is
// ready to use.
type Units struct {
	// LuxPerUmol is the lamp's factor, lux per umol m-2 s-1, above 0 and
	// finite; 0 stands for DefaultLuxPerUmol.
	LuxPerUmol float64
}

// Conversion takes a number in one accepted unit to the unit its quantity is
// kept in, and back. Use those that Lookup returns.
type Conversion struct {
	unit             string
	offset, mul, div float64
	log              bool
}

// maxTransmittance is the largest transmittance that is taken as a fraction. A
// clear vessel may read a little above its blank; 2 and more is a percentage.
const maxTransmittance = 2

// ToKept converts v to the kept unit:
//
//	kept = (v - offset) * mul / div, or kept = -log10(v) for a transmittance.
//
// It returns NaN for a transmittance that is not above 0 or not a fraction, and
// an infinity where the result is too large.
func (c Conversion) ToKept(v float64) float64 {
	if c.log {
		if v <= 0 || v >= maxTransmittance {
			return math.NaN()
		}
		return -math.Log10(v)
	}
	return (v - c.offset) * c.mul / c.div
}

// FromKept converts v from the kept unit back: the inverse of ToKept.
func (c Conversion) FromKept(v float64) float64 {
	if c.log {
		return math.Pow(10, -v)
	}
	return v*c.div/c.mul + c.offset
}

// Unit returns the accepted unit, such as "degF"; empty where there is none.
func (c Conversion) Unit() string { return c.unit }

// accepted is one field name that is not the kept unit's own.
type accepted struct {
	field    string
	quantity Quantity
	conv     Conversion
	lamp     bool // the divisor is the lamp's factor
}

// others lists the accepted units beside the kept ones. Temperatures and
// volumes are exact by definition (degF: 32 at 0 degC and 212 at 100 degC; K:
// 273.15 at 0 degC; 1 m3 = 1000 L). OD = -log10(I/I0).
var others = [...]accepted{
	{"od_t", OD, Conversion{unit: "fraction transmitted", log: true}, false},
	{"od2_t", OD2, Conversion{unit: "fraction transmitted", log: true}, false},
	{"temp_f", Temperature, Conversion{unit: "degF", offset: 32, mul: 5, div: 9}, false},
	{"temp_k", Temperature, Conversion{unit: "K", offset: 273.15, mul: 1, div: 1}, false},
	{"lux", Light, Conversion{unit: "lx", mul: 1}, true},
	{"klux", Light, Conversion{unit: "klx", mul: 1000}, true},
	{"air_mlmin", Airflow, Conversion{unit: "mL/min", mul: 1, div: 1000}, false},
	{"air_lph", Airflow, Conversion{unit: "L/h", mul: 1, div: 60}, false},
	{"air_m3h", Airflow, Conversion{unit: "m3/h", mul: 1000, div: 60}, false},
}

// Fields lists every accepted field name: those of the kept units first, in the
// order of All.
func Fields() []string {
	names := make([]string, 0, len(All)+len(others))
	for _, q := range All {
		names = append(names, q.Field())
	}
	for _, o := range others {
		names = append(names, o.field)
	}
	return names
}

// Lookup is Units.Lookup with the default lamp.
func Lookup(field string) (Quantity, Conversion, error) { return Units{}.Lookup(field) }

// Lookup returns the quantity that a field name carries and the conversion of
// its unit. The error for a name that nobody knows says which known ones are
// near; another error says that LuxPerUmol cannot be one.
func (u Units) Lookup(field string) (Quantity, Conversion, error) {
	for _, q := range All {
		if table[q].field == field {
			return q, Conversion{unit: table[q].unit, mul: 1, div: 1}, nil
		}
	}
	for _, o := range others {
		if o.field != field {
			continue
		}
		if o.lamp {
			factor, err := u.luxPerUmol()
			if err != nil {
				return 0, Conversion{}, err
			}
			o.conv.div = factor
		}
		return o.quantity, o.conv, nil
	}
	return 0, Conversion{}, unknown(field)
}

func (u Units) luxPerUmol() (float64, error) {
	switch {
	case u.LuxPerUmol == 0:
		return DefaultLuxPerUmol, nil
	case u.LuxPerUmol > 0 && !math.IsInf(u.LuxPerUmol, 1):
		return u.LuxPerUmol, nil
	}
	return 0, fmt.Errorf("lux per umol is %v: want a number above 0, such as %d", u.LuxPerUmol, DefaultLuxPerUmol)
}

func unknown(field string) error {
	near := nearest(field, Fields())
	if len(near) == 0 {
		return fmt.Errorf("unknown field %q: known are %s", cut(field), list(Fields(), "and"))
	}
	return fmt.Errorf("unknown field %q: did you mean %s?", cut(field), list(near, "or"))
}

// list joins names as in a sentence: "a, b or c".
func list(names []string, last string) string {
	n := len(names) - 1
	if n == 0 {
		return names[0]
	}
	return strings.Join(names[:n], ", ") + " " + last + " " + names[n]
}
