package room

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
)

// Version is the version of what Snapshot writes. A snapshot of another
// version is not read: the room is then built again from the stored readings.
const Version = 11

type savedRoom struct {
	Clock   int64
	Ahead   int64
	TooLate int64
	Vessels map[string]savedVessel
	Waiting []raise
	Events  []event
}

type savedVessel struct {
	Head   memory
	Marks  []memory
	Items  []item
	Next   int
	Since  int
	Back   int64
	Judged int64
	Alarms []alerts.Alarm
	Finds  []analysis.Finding
	Book   []kept
	News   []ingest.Entry
}

// Snapshot returns the whole memory of the room.
func (r *Room) Snapshot() ([]byte, error) {
	s := savedRoom{Clock: r.clock, Ahead: r.ahead, TooLate: r.tooLate, Vessels: make(map[string]savedVessel, len(r.order)),
		Waiting: r.waiting, Events: r.events}
	for _, v := range r.order {
		sv := savedVessel{Head: v.head, Marks: v.marks, Items: v.items, Next: v.next, Since: v.since, Back: v.back, Judged: v.judged, Finds: v.findings,
			Book: v.logbook, News: v.news}
		for _, a := range v.alarms {
			sv.Alarms = append(sv.Alarms, a)
		}
		s.Vessels[v.set.Name] = sv
	}
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(s); err != nil {
		return nil, fmt.Errorf("write down the room's memory: %w", err)
	}
	return buf.Bytes(), nil
}

// Restore takes the memory from a snapshot of this Version. Vessels that are
// no longer watched are passed over, new ones start empty.
func (r *Room) Restore(snapshot []byte) error {
	var s savedRoom
	if err := gob.NewDecoder(bytes.NewReader(snapshot)).Decode(&s); err != nil {
		return fmt.Errorf("read the room's memory: %w", err)
	}
	r.waiting, r.events = s.Waiting, s.Events
	r.clock, r.ahead, r.tooLate = s.Clock, s.Ahead, s.TooLate
	for _, v := range r.order {
		sv, ok := s.Vessels[v.set.Name]
		if !ok {
			continue
		}
		v.head, v.marks, v.items, v.next = sv.Head, sv.Marks, sv.Items, sv.Next
		v.head.Track.SizeL = v.set.VolumeL // the configuration may have changed
		for i := range v.marks {
			v.marks[i].Track.SizeL = v.set.VolumeL
		}
		v.since = sv.Since
		v.logbook, v.news = sv.Book, sv.News
		v.back, v.judged, v.findings = sv.Back, sv.Judged, sv.Finds
		for _, a := range sv.Alarms {
			v.alarms[a.Key] = a
		}
	}
	return nil
}

// Recall takes over alarms that the ledger knows, for a room that is built
// again from its readings as of now: none of them is raised a second time. What
// a clock gone wrong had dated later than now is brought back to it, or the
// alarm would stand still until then.
func (r *Room) Recall(known []alerts.Alarm, now time.Time) {
	r.waiting, r.events = nil, nil
	for _, v := range r.order {
		clear(v.alarms) // what was found on the way and never written down is found again
	}
	for _, a := range known {
		if v := r.vessels[a.Vessel]; v != nil {
			for _, at := range []*time.Time{&a.Raised, &a.Pending, &a.Clear, &a.Ended, &a.AckedAt} {
				if at.After(now) {
					*at = now
				}
			}
			v.alarms[a.Key] = a
			if a.Active() && a.CallID == "" && alerts.RuleFor(a.Key).Calls {
				r.waiting = append(r.waiting, v.raise(a.Raised, a)) // nobody was called yet
			}
		}
	}
}
