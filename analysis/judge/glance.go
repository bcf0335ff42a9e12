package judge

import (
	"math"

	"github.com/nightshelf/nightshelf/analysis/track"
)

// lately is over how many of track's bins density is taken that is looked at
// within the hour: half an hour.
const lately = 3

// glance looks at the newest density within the hour, for what cannot wait.
func (b *bench) glance(hour int64) {
	c, t := &b.Course, b.Track
	if c.Bin == t.Latest || c.Running.Hours == 0 {
		return
	}
	c.Bin = t.Latest
	end := (int64(t.Latest) + 1) * track.BinLength.Milliseconds()
	if end <= hour*hourMs {
		return // looked at with the hour
	}
	if b.Vessel.Interval > track.BinLength/2 {
		return // too few readings in half an hour for one of their medians
	}
	seen, white, ok := t.Level(t.Latest, lately)
	c.Now = gaps{}
	if !ok || b.hidden(hour) {
		return
	}
	// A level is that of the middle of its time: a quarter of an hour before now
	// here, half an hour before its end in a whole hour.
	part := float64(end-hour*hourMs)/float64(hourMs) + 0.25
	dense := math.Exp(seen - float64(t.Shift))
	seen += c.unstirred(b.now)
	s := b.strain()
	c.Now = gapsOf(c.Running.GapsNow(&s, b.volume(), b.around(hour), part, seen, math.Hypot(white, math.Sqrt2*c.Noise/dense), dense, halfDay-1))
}
