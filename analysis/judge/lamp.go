package judge

import (
	"fmt"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// slots is how many parts of a day the lamp's own earlier days are kept in.
const slots = 96 // 15 min each

// lamp remembers what the lamp did on its own earlier days.
type lamp struct {
	Usual [slots]float32 // light, umol m-2 s-1
	Day   [slots]int32   // local day on which the slot was first filled; 0: never
	// Other is what a slot has shown against its habit, on Days days so far,
	// the newest of them Newest.
	Other  [slots]float32
	Days   [slots]int8
	Newest [slots]int32
	// What was set when they were seen: other hours make another lamp.
	On, Hours time.Duration
	Shape     ingest.Shape
	Peak      float64
	// Seen and Due are the light of the newest minute that told of a trouble.
	Seen, Due float64
	// Top is the brightest of the slots as of Slot of Date.
	Top  float64
	Slot int
	Date int32
}

// of drops the memory of a lamp whose setting changed.
func (l *lamp) of(v *ingest.Vessel) {
	if l.On != v.LightsOn || l.Hours != v.LightHours || l.Shape != v.LightShape || l.Peak != v.ParUmol {
		*l = lamp{On: v.LightsOn, Hours: v.LightHours, Shape: v.LightShape, Peak: v.ParUmol}
	}
}

const (
	// dimBelow is the share of what is due below which a lamp is out of order,
	// held against its own earlier days; a lamp ages by a tenth or two a year,
	// and an arm before the sensor takes less than half for long.
	dimBelow = 0.65
	// darkBelow is the same against the configured light alone: how far a
	// sensor stands from the lamp is not known, so only darkness counts.
	darkBelow = 0.3
	// onAbove is the share of the peak above which a lamp counts as lit in its
	// dark hours: more than a neighbour's lamp or a torch on the shelf sheds.
	onAbove = 0.3
	// leastPeak is the brightest light, umol m-2 s-1, that may be no lamp at
	// all: a window at dusk, the neighbour's lamp.
	leastPeak = 5
	// habitAfter is after how many days of the same a lamp's other hours are its
	// new habit: three nights of calls are enough of them.
	habitAfter = 3
	// evenly is the share of the brightest that is due about now which the darkest
	// must be for a lamp to be found well again.
	evenly = 0.8
	// judgedAbove is the share of the peak below which nothing is due: the
	// shoulders of a lamp that rises and falls.
	judgedAbove = 0.2
)

// due is the light that should be there around now.
type due struct {
	low, high float64 // over the half hour around now, umol m-2 s-1; low NaN: unknown
	below     float64 // share of low below which it is too dark
}

func (b *bench) light() {
	if !b.fresh(unit.Light, lampDark, lampOn) {
		return
	}
	b.Lamp.of(b.Vessel)
	n := &b.Track.Newest[unit.Light]
	seen := n.Median()
	local := b.local()
	at, day := slotOf(local), dayOf(local)
	want := b.due(local, at, day)
	peak := b.peak()
	if math.IsNaN(want.low) || !(peak > leastPeak) {
		b.Lamp.learn(at, day, seen, peak)
		return
	}
	below := want.below
	if b.Held[lampDark] != 0 {
		below = math.Min(1, below+0.1) // deadband, so that a flicker is one finding
	}
	due, off := want.low > judgedAbove*peak, want.high < 0.05*peak
	dark, lit := due && seen < below*want.low, off && seen > onAbove*peak
	if dark || lit {
		b.Lamp.Seen, b.Lamp.Due = seen, want.low
		b.Lamp.doubt(at, day, seen)
	}
	if dark {
		b.DarkBad = b.now
	}
	// A lamp that is dim by day is so until its next hours tell otherwise, and one
	// that burned by night until the next night: one fault is one alarm.
	// What has been dim for long is well again where a whole lamp is due, not where
	// it comes on or goes off; an arm before the sensor is gone at once.
	well := due && (want.low >= evenly*want.high || !b.lasted(lampDark, time.Hour))
	sinceDark := b.holdFrom(lampDark, dark || b.Held[lampDark] != 0 && !well, unit.Light)
	sinceLit := b.holdFrom(lampOn, lit || b.Held[lampOn] != 0 && !off, unit.Light)
	switch {
	case sinceDark != 0:
		b.find(analysis.Light, 0, sinceDark, darkLamp(b.Lamp.Seen, b.Lamp.Due))
	case sinceLit != 0:
		b.find(analysis.Light, 0, sinceLit, litLamp(b.Lamp.Seen))
	}
	if !dark && !lit {
		b.Lamp.learn(at, day, seen, peak)
	}
}

func darkLamp(seen, want float64) analysis.Finding {
	what := "Lamp dim"
	if seen < 0.1*want {
		what = "Lamp dark in its hours"
	}
	return analysis.Finding{
		What:     fmt.Sprintf("%s, %.0f of about %.0f umol", what, math.Max(seen, 0), want),
		Cause:    "a lamp, its timer or its fuse, or something before the sensor",
		First:    "Look at the lamp and its timer.",
		Evidence: []analysis.Evidence{{Name: "light", Value: seen, Normal: want, Unit: unit.Light.Unit()}}}
}

func litLamp(seen float64) analysis.Finding {
	return analysis.Finding{
		What:     fmt.Sprintf("Lamp lit in its dark hours, %.0f umol", seen),
		Cause:    "a timer that hangs, or room light left on",
		First:    "Switch the lamp off at its timer in the morning; one bright night harms little.",
		Evidence: []analysis.Evidence{{Name: "light", Value: seen, Normal: 0, Unit: unit.Light.Unit()}}}
}

func (b *bench) local() time.Time {
	if b.Vessel.Zone != nil {
		return b.Now.In(b.Vessel.Zone)
	}
	return b.Now.UTC()
}

func slotOf(t time.Time) int { return (t.Hour()*60 + t.Minute()) / 15 }

func dayOf(t time.Time) int32 {
	return int32(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// peak is the lamp's brightest, as set or as seen on earlier days.
func (b *bench) peak() float64 {
	if b.peaked {
		return b.brightest
	}
	// The slots change slowly: once in each is enough.
	l, local := &b.Lamp, b.local()
	if at, day := slotOf(local), dayOf(local); l.Top == 0 || l.Slot != at || l.Date != day {
		l.Top, l.Slot, l.Date = b.findPeak(), at, day
	}
	b.brightest, b.peaked = l.Top, true
	return b.brightest
}

func (b *bench) findPeak() float64 {
	top := float32(0)
	for i, u := range b.Lamp.Usual {
		if b.Lamp.Day[i] != 0 {
			top = max(top, u)
		}
	}
	if top > 0 && b.Lamp.whole() {
		return float64(top)
	}
	return math.Max(b.Vessel.ParUmol, float64(top))
}

// whole reports whether every slot of a day has been seen.
func (l *lamp) whole() bool {
	for _, d := range l.Day {
		if d == 0 {
			return false
		}
	}
	return true
}

// reach is how many slots to each side of now a reading may be of: one for
// lamps that are not quite on time, and what a median of five lags behind.
func (b *bench) reach() int {
	return min(1+int(3*b.Vessel.Interval/slot), 6)
}

// slot is the length of a slot.
const slot = 24 * time.Hour / slots

// due tells what the time around now should bring: by the lamp's own
// earlier days where all three slots were seen on one, else by the
// configuration.
func (b *bench) due(local time.Time, slot int, day int32) due {
	d := due{low: math.Inf(1), high: math.Inf(-1), below: dimBelow}
	for i, n := -b.reach(), b.reach(); i <= n; i++ {
		k := (slot + i + slots) % slots
		if b.Lamp.Day[k] == 0 || b.Lamp.Day[k] == day {
			return b.configured(local)
		}
		d.low = math.Min(d.low, float64(b.Lamp.Usual[k]))
		d.high = math.Max(d.high, float64(b.Lamp.Usual[k]))
	}
	return d
}

func (b *bench) configured(local time.Time) due {
	v := b.Vessel
	if !(v.ParUmol > 0) {
		return due{low: math.NaN(), high: math.NaN()}
	}
	d := due{low: math.Inf(1), high: math.Inf(-1), below: darkBelow}
	wide := time.Duration(b.reach()) * slot
	for _, off := range [...]time.Duration{-wide, -wide / 2, 0, wide / 2, wide} {
		l := v.ParUmol * v.Lit(local.Add(off)) // NaN where no hours are set
		d.low, d.high = math.Min(d.low, l), math.Max(d.high, l)
	}
	return d
}

// learn takes the light of a slot into the lamp's own days, a tenth at each
// minute. A slot that was seen on an earlier day learns nothing that is far
// from it: a lamp that fails is no new habit. When other hours are set,
// the slots are forgotten.
func (l *lamp) learn(slot int, day int32, seen, peak float64) {
	usual := float64(l.Usual[slot])
	switch {
	case l.Day[slot] == 0:
		l.Day[slot], l.Usual[slot] = day, float32(seen)
		return
	case l.Day[slot] != day && !alike(seen, usual, peak):
		return
	}
	l.Usual[slot] += 0.1 * float32(seen-usual)
}

// doubt notes that a slot shows something else than it used to. What it shows
// for habitAfter days in a row is its new habit.
func (l *lamp) doubt(slot int, day int32, seen float64) {
	if l.Newest[slot] == day {
		return
	}
	if day-l.Newest[slot] > 1 {
		l.Days[slot] = 0
	}
	l.Newest[slot], l.Other[slot] = day, float32(seen)
	if l.Days[slot]++; l.Days[slot] > habitAfter {
		l.Day[slot], l.Usual[slot], l.Days[slot] = day, float32(seen), 0
	}
}

// alike reports whether light is about what it was: both next to nothing, or
// within what a lamp's days differ by.
func alike(seen, usual, peak float64) bool {
	if seen < 0.05*peak && usual < 0.05*peak {
		return true
	}
	return seen > (1+dimBelow)/2*usual && seen < 1.25*usual
}
