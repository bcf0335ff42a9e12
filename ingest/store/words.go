package store

import (
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Range names some readings of one vessel.
type Range struct {
	Vessel   string
	Quantity ingest.Quantity // 0: every quantity
	From     time.Time       // first instant; zero: from the first reading
	To       time.Time       // first instant no longer meant; zero: to the last reading
}

// SeriesPoint sums up the readings of one stretch of time for a chart.
type SeriesPoint struct {
	At       time.Time // mean time of its readings
	Min      float64   // in the unit of the quantity
	Mean     float64
	Max      float64
	Readings int // how many it stands for, at least 1
}

// Seen is a vessel of which readings are kept, configured or not.
type Seen struct {
	Name     string
	First    time.Time // of its oldest reading
	Last     time.Time // of its newest reading
	Readings int64     // kept, without duplicates
}

// Totals counts what is kept.
type Totals struct {
	Readings int64
	Entries  int64
	Refused  map[ingest.Reason]int64 // ever set aside, also those no longer kept
	Bytes    int64                   // on disk, all files together
	Vessels  int
}

// MaxRefused is how many pieces of refused input are kept; older ones are
// only counted.
const MaxRefused = 10_000

// Damaged says that a batch in the inbox cannot be read back. Its readings
// and entries are kept elsewhere as well, so it may be passed over.
type Damaged struct {
	Seq int64
	Err error
}

// Error implements error.
func (d *Damaged) Error() string {
	return "batch " + itoa(d.Seq) + " of the inbox is damaged: " + d.Err.Error()
}

// Unwrap returns the cause.
func (d *Damaged) Unwrap() error { return d.Err }
