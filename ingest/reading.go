package ingest

import (
	"time"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Quantity is one kind of measurement, see [unit.Quantity].
type Quantity = unit.Quantity

// Reading is one measured quantity of one vessel at one time.
type Reading struct {
	Vessel   string
	Quantity Quantity
	Value    float64   // in the unit the quantity is kept in; finite
	At       time.Time // when it was measured: UTC, whole milliseconds
}

// Stamp brings t to the form in which times are kept and compared: UTC, whole
// milliseconds (cut, not rounded), no monotonic part.
func Stamp(t time.Time) time.Time { return time.UnixMilli(t.UnixMilli()).UTC() }

// The quantities, as in [unit].
const (
	OD          = unit.OD
	Temperature = unit.Temperature
	Light       = unit.Light
	Airflow     = unit.Airflow
	OD2         = unit.OD2
	PH          = unit.PH
)
