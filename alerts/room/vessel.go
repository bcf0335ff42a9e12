package room

import (
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/judge"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// memory is all that is remembered of a vessel at one time: a plain value, so
// that a copy is a mark to come back to.
type memory struct {
	At     int64 // Unix ms up to which items are in
	Minute int64 // Unix ms of the newest minute that was judged
	Track  track.State
	Judge  judge.State
}

// marks is how many are kept. They stand half a lateness apart or more, so
// that the oldest of three is a whole one back.
const marks = 3

// itemsAMark bounds what is kept between two marks: half an hour of five
// quantities a second. A device that babbles shortens the lateness of its own
// vessel and does not fill the memory.
const itemsAMark = 9000

type vessel struct {
	set      ingest.Vessel
	head     memory
	marks    []memory // the oldest first; the state before anything at or after its time
	items    []item   // everything since the oldest mark, in order of time
	since    int      // items taken in since the newest mark
	next     int      // the first of items that head has not taken in
	back     int64    // earliest time of an item that came after head had passed it; 0: none
	judged   int64    // newest minute whose findings the alarms have seen
	findings []analysis.Finding
	alarms   map[analysis.Key]alerts.Alarm
	logbook  []kept         // of this vessel, as written, the newest entriesKept
	news     []ingest.Entry // those that came since a minute was last judged
}

func newVessel(set ingest.Vessel) *vessel {
	v := &vessel{set: set, alarms: map[analysis.Key]alerts.Alarm{}}
	v.head = v.blank()
	return v
}

// blank is the memory of a vessel of which only what is set there is known.
func (v *vessel) blank() memory {
	m := memory{Track: track.New()}
	m.Track.SizeL = v.set.VolumeL
	return m
}

// insert puts an item in its place in time; false if it comes too late for
// that. An entry that comes too late still tells what it tells.
func (v *vessel) insert(it item) bool {
	if len(v.marks) > 0 && it.At < v.marks[0].At {
		if it.Entry != nil {
			v.head.Track.Note(*it.Entry)
			for i := range v.marks {
				v.marks[i].Track.Note(*it.Entry)
			}
		}
		return it.Entry != nil
	}
	at, found := slices.BinarySearchFunc(v.items, it, item.compare)
	if found {
		return true // brought again
	}
	v.items = slices.Insert(v.items, at, it)
	if at < v.next || it.At < v.head.At || it.At <= v.head.Minute {
		if v.back == 0 || it.At < v.back {
			v.back = it.At
		}
		if at < v.next {
			v.next++
		}
	}
	return true
}

// catchUp takes the vessel to the minute that ends before last, Unix ms.
func (r *Room) catchUp(v *vessel, last int64) {
	v.rewind()
	half := (r.o.Lateness / 2).Milliseconds()
	// Items go in only as far as minutes are judged, so that what a minute sees
	// does not hang on how readings are parted into batches.
	for v.next < len(v.items) && v.items[v.next].At <= last {
		it := v.items[v.next]
		r.minutes(v, it.At-1)
		v.mark(it.At, half)
		v.head.take(it)
		v.next++
	}
	r.minutes(v, last)
}

// rewind goes back to before the earliest item that came late.
func (v *vessel) rewind() {
	if v.back == 0 {
		return
	}
	i := len(v.marks) - 1
	for i > 0 && v.marks[i].At > v.back {
		i--
	}
	if i < 0 {
		v.head = v.blank()
		v.next = 0
	} else {
		v.head = v.marks[i]
		v.marks = v.marks[:i+1]
		v.next, _ = slices.BinarySearchFunc(v.items, v.head.At, func(it item, at int64) int {
			if it.At < at {
				return -1
			}
			return 1
		})
	}
	v.back = 0
}

// mark keeps the memory as it stands before anything of the time at, when half
// a lateness has passed since the newest mark.
func (v *vessel) mark(at, half int64) {
	n := len(v.marks)
	if v.since++; n > 0 && at-v.marks[n-1].At < half && v.since < itemsAMark {
		return
	}
	v.since = 0
	m := v.head
	m.At = at
	if n < marks {
		v.marks = append(v.marks, m)
		return
	}
	copy(v.marks, v.marks[1:])
	v.marks[n-1] = m
	v.trim()
}

// trim drops the items from before the oldest mark.
func (v *vessel) trim() {
	oldest := v.marks[0].At
	k := 0
	for k < v.next && v.items[k].At < oldest {
		k++
	}
	v.items = slices.Delete(v.items, 0, k)
	v.next -= k
}

func (m *memory) take(it item) {
	m.At = max(m.At, it.At)
	if it.Entry != nil {
		m.Track.Advance(it.Entry.At)
		m.Track.Note(*it.Entry)
		return
	}
	m.Track.Take(ingest.Reading{Quantity: it.Quantity, Value: it.Value, At: time.UnixMilli(it.At)})
}

// longestGap is how far back minutes are judged one by one when time leaps: a
// daemon that was off for a month need not live through it.
const longestGap = int64(48 * time.Hour / time.Millisecond)

// minutes judges every whole minute up to last that has not been.
func (r *Room) minutes(v *vessel, last int64) {
	last = last / minute * minute
	if v.head.Minute == 0 {
		v.head.Minute = last - minute
	}
	v.head.Minute = max(v.head.Minute, last-longestGap)
	for m := v.head.Minute + minute; m <= last; m += minute {
		v.head.Minute = m
		at := time.UnixMilli(m).UTC()
		v.head.Track.Advance(at)
		v.findings = v.head.Judge.Step(judge.Case{Vessel: &v.set, Track: &v.head.Track, Now: at, Staffed: r.o.Staffed, Courses: r.o.Courses, Limits: &r.limits})
	}
}

// ahead is how many hours of the course to come are shown.
const ahead = 24

func (v *vessel) view(clock int64, courses *expect.Library) View {
	now := v.head // and what came since the newest minute that was judged
	for _, it := range v.items[v.next:] {
		if it.At <= clock {
			now.take(it)
		}
	}
	w := View{Vessel: v.set, Estimate: now.Track.Estimate(), Newest: map[ingest.Quantity]analysis.Point{},
		Findings: slices.Clone(v.findings), Course: now.Judge.Band(courses, &now.Track, ahead)}
	for _, q := range unit.All {
		if n := now.Track.Newest[q]; n.At != 0 {
			w.Newest[q] = analysis.Point{At: time.UnixMilli(n.At).UTC(), Value: n.Value}
		}
	}
	for _, a := range v.alarms {
		if a.State != alerts.Normal {
			w.Alarms = append(w.Alarms, a)
		}
	}
	slices.SortFunc(w.Alarms, newestFirst)
	return w
}
