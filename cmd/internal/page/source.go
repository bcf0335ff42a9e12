package page

import (
	"context"
	"errors"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// Source knows the room as it stands now. It is asked once for every page,
// by several goroutines at a time.
type Source interface {
	// Shelf returns a consistent copy that belongs to the caller: slices and
	// maps in it are not written to afterwards. It never blocks long.
	Shelf() Shelf
}

// History reads what is on disk. Each method returns points or entries in
// order of time, from and to included, none where there are none. Points is
// the most that are wanted; more are thinned.
type History interface {
	// Density returns od above blank.
	Density(ctx context.Context, vessel string, from, to time.Time, points int) ([]analysis.Point, error)
	// Readings returns values in the unit q is kept in.
	Readings(ctx context.Context, vessel string, q ingest.Quantity, from, to time.Time, points int) ([]analysis.Point, error)
	// Entries returns the logbook of one vessel.
	Entries(ctx context.Context, vessel string, from, to time.Time) ([]ingest.Entry, error)
}

// Health knows whether the parts of the daemon are well. It never blocks long.
type Health interface {
	Ready() []Part
}

// Part is the health of one part of the daemon.
type Part struct {
	Name   string `json:"name"` // "broker", "store", "backlog"
	OK     bool   `json:"ok"`
	Detail string `json:"detail,omitempty"` // a clause: "connected", "no word for 3 min"
}

// Logbook is the room's logbook, to be read and written in.
type Logbook interface {
	// Read lets f look at the book as it stands. f must not keep it, and must
	// not take long: nobody else reads or writes meanwhile.
	Read(f func(*logbook.Book))
	// Write keeps an entry. Its vessel must be configured. An entry without a
	// time happened now; Written is set by the logbook. What speaks against it
	// is asked first: with doubts, nothing is written unless overruledBy says
	// who wants it all the same. Errors of the entry itself are
	// [*logbook.Fault]s, joined or alone. On nil and no doubts it is on disk,
	// and returned as it was kept.
	Write(ctx context.Context, e ingest.Entry, overruledBy string) (ingest.Entry, []logbook.Doubt, error)
}

// Planner works out amounts.
type Planner interface {
	// Amounts returns what a step of making a vessel ready takes, in lines for
	// people, and the cautions that belong to it; none where it takes nothing.
	Amounts(vessel string, step ingest.Kind) (lines, cautions []string)
}

// ErrUnknownAlarm is what an [Acknowledger] returns, wrapped or not, where no
// alarm has that id.
var ErrUnknownAlarm = errors.New("no alarm of that id")

// Acknowledger takes word that somebody has seen an alarm. Acknowledging what
// is acknowledged already is no error.
type Acknowledger interface {
	// Acknowledge returns nil once it is on disk. Who may be empty.
	Acknowledge(ctx context.Context, alarmID, who string) error
}

// Shelf is a room at one time.
type Shelf struct {
	Room    string
	Zone    *time.Location // of the room; nil is UTC
	Now     time.Time      // the room's time
	Clock   string         // what sets the room's time: "wall" or "readings"
	Staffed bool           // people are expected at the shelf now
	Vessels []VesselView   // in the order in which they stand
	Unknown []UnknownVessel
	// SetAside is input that could not be used.
	SetAside SetAside
	Alarms   []alerts.Alarm // open and recent
	Calls    []alerts.Call  // recent
	Broker   string         // address the daemon listens at, for people
	Topics   []string       // topics it listens to; may be empty
}

// VesselView is one vessel at one time.
type VesselView struct {
	Vessel   ingest.Vessel
	Estimate analysis.Estimate
	Latest   map[ingest.Quantity]analysis.Point // newest reading of each quantity
	Alarms   []alerts.Alarm
	Notices  []analysis.Finding
	Trail    []analysis.Point // density of the last days, at most 200 points
	Expected []CourseBand     // the expected course, past and to come; may be empty

	// Unit is what densities are in here, Trail, Expected and HarvestOD too;
	// empty: od.
	Unit string

	FilledL   float64   // what is in it, litres; 0 unknown
	HarvestOD float64   // density at which the lot is ready; 0: that of the vessel
	HarvestAt time.Time // when that is expected; zero: read off Expected
}

// CourseBand is the expected course at one time, od above blank.
type CourseBand struct {
	At        time.Time
	Low, High float64
}

// UnknownVessel is a name that sends readings and is not configured.
type UnknownVessel struct {
	Name     string
	Readings int
	Last     time.Time
}

// SetAside is the input that could not be used.
type SetAside struct {
	Total    int
	ByReason map[ingest.Reason]int
	Newest   []ingest.Refused // newest first
}

// zone returns the zone of the room.
func (s Shelf) zone() *time.Location {
	if s.Zone == nil {
		return time.UTC
	}
	return s.Zone
}

// unit returns what densities are in.
func (v VesselView) unit() string {
	if v.Unit == "" {
		return "od"
	}
	return v.Unit
}

// vessel returns the vessel of that name.
func (s Shelf) vessel(name string) (VesselView, bool) {
	for _, v := range s.Vessels {
		if v.Vessel.Name == name {
			return v, true
		}
	}
	return VesselView{}, false
}

// harvestOD returns the density at which the lot is ready, 0 if unknown.
func (v VesselView) harvestOD() float64 {
	if v.HarvestOD > 0 {
		return v.HarvestOD
	}
	return max(v.Vessel.HarvestOD, 0)
}
