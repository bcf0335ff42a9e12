package judge

import (
	"fmt"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/track"
)

// bestFor is how long a lot that is ready stays at its best without growing: a
// day of it, and the cells begin to live on themselves (common practice: harvest
// before the plateau).
const bestFor = 24 * time.Hour

// ripe tells by day that a lot is ready, or past its best.
func (b *bench) ripe() {
	since := b.Course.Ripe
	if since == 0 {
		b.Held[stale] = 0
		return
	}
	t := b.Track
	od := t.Smooth() - t.Blank
	f := analysis.Finding{
		What:     fmt.Sprintf("Ready to harvest, od %.2f", od),
		First:    "Harvest it, or part of it, and write that down.",
		Evidence: []analysis.Evidence{{Name: "od above blank", Value: od, Normal: math.NaN()}}}
	if b.hold(stale, t.Day.PerDay+2*t.Day.Error < goesOnFrom); b.lasted(stale, bestFor) {
		since = b.Held[stale]
		f.What = fmt.Sprintf("Past its best, od %.2f and no longer growing", od)
		f.First = "Harvest it whole; start nothing from it."
	}
	b.find(analysis.Notice, 0, since, f)
}

// goesOnFrom is the net growth over a day, 1/d, below which a lot that is ready
// has stopped: a doubling in a fortnight.
const goesOnFrom = 0.05

// ripen notes since when the lot has been ready; a draw ends that.
func (b *bench) ripen() {
	c, t := &b.Course, b.Track
	want := t.HarvestOD
	if want == 0 {
		want = b.Vessel.HarvestOD
	}
	od := t.Smooth() - t.Blank
	c.Near = want > 0 && od >= nearReady*want
	switch {
	case want > 0 && od >= want && c.Ripe == 0:
		c.Ripe = b.now
	case c.Ripe != 0 && drawn(&t.LastHit, c.Ripe) && od < want:
		c.Ripe = 0
	}
}

// drawn reports whether a step took something out since.
func drawn(hit *track.Step, since int64) bool { return hit.At > since && hit.Ratio < 1 }
