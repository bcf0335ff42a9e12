package judge

import (
	"fmt"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/track"
)

const (
	// handOld is how long a count tells of now: people who count, count every
	// day or two.
	handOld = 48 * time.Hour
	// handApart is the least time between the counts of a stall: a lamp's whole
	// day and half of the next.
	handApart = 36 * time.Hour
	// handDue is how long after its newest count a lot that is watched by hand
	// is due for another.
	handDue = 60 * time.Hour
	// handLoss is the least loss between counts that may be called a crash:
	// a third, since a count in a chamber is a tenth to a fifth wide and a young
	// lot under strong light can lose as much and recover.
	handLoss = 1.0 / 3
	// oneSide is the 95th percentile of the standard normal: nineteen in twenty
	// that it grows less than it should. Counts are too few for more.
	oneSide = 1.645
)

// byHand finds in counts what a probe would have told, with the wide bounds
// that counts have: what they say is as of the newest of them.
func (b *bench) byHand() {
	list := b.Track.Counted()
	if len(list) == 0 { // not since it was refilled
		b.Held[uncounted], b.Held[fellByHand], b.Held[stalledByHand] = 0, 0, 0
		return
	}
	last := list[len(list)-1]
	since := time.Duration(b.now-last.At) * time.Millisecond
	if b.hold(uncounted, since > handDue) != 0 {
		b.find(analysis.Notice, 0, last.At, analysis.Finding{
			What:  fmt.Sprintf("Not counted for %.0f h, and no probe watches it", since.Hours()),
			Cause: "a count that was not made, or not written down", First: "Count it, or read its od, and write it down.",
			Evidence: []analysis.Evidence{{Name: "time since the newest count", Value: since.Hours(), Normal: handDue.Hours(), Unit: "h"}}})
	}
	told := since <= handOld
	b.fellByHand(list, told)
	b.stalledByHand(list, told)
}

// fellByHand looks for a count far below one before it.
func (b *bench) fellByHand(list []track.Hand, told bool) {
	last := list[len(list)-1]
	lost, sigma, from := 0.0, 0.0, last
	for _, h := range list {
		if h.Log-last.Log > lost {
			lost, sigma, from = h.Log-last.Log, math.Hypot(h.Sigma, last.Sigma), h
		}
	}
	limit := math.Max(-math.Log(1-handLoss), 3*sigma)
	if b.hold(fellByHand, told && lost > limit) == 0 {
		return
	}
	b.find(analysis.Crash, 0, from.At, analysis.Finding{
		Normal: b.normal(),
		What:   fmt.Sprintf("Counted %.0f %% less than %.0f h before", 100*(1-math.Exp(-lost)), (time.Duration(last.At-from.At) * time.Millisecond).Hours()),
		Cause:  "grazers, bacteria or a virus, or cells that settled or a count that slipped",
		First:  "Mix it, count again, and look through the microscope; start nothing from it.",
		Sure:   0.7,
		Evidence: []analysis.Evidence{
			{Name: "loss between two counts", Value: 100 * (1 - math.Exp(-lost)), Normal: 100 * (1 - math.Exp(-limit)), Unit: "%"}}})
}

// stalledByHand looks for counts that do not grow.
func (b *bench) stalledByHand(list []track.Hand, told bool) {
	t := b.Track
	g := t.Day
	apart := time.Duration(list[len(list)-1].At-list[0].At) * time.Millisecond
	age := time.Duration(b.now-t.Since) * time.Millisecond
	slow := told && apart >= handApart && age > expect.Lag && g.PerDay+oneSide*g.Error < expect.Slowest && !b.readyByHand() && b.Held[fellByHand] == 0
	if b.hold(stalledByHand, slow) == 0 {
		return
	}
	b.findStall(list[0].At, 0.75, "net growth by counts",
		fmt.Sprintf("Counts do not grow, %.2f a day where at least %.2f is due", g.PerDay, expect.Slowest), expect.Slowest)
}

// nearReady is the share of the harvest density from which on slowing is the
// rule, as the vessel darkens.
const nearReady = 0.7

// readyByHand reports whether the lot is so near its harvest that slowing is
// the rule.
func (b *bench) readyByHand() bool {
	t := b.Track
	e := t.Estimate()
	switch od := max(t.HarvestOD, 0); {
	case t.HarvestCells > 0 && e.Cells.Known():
		return e.Cells.Likely >= nearReady*t.HarvestCells
	case od > 0 && e.Density.Known():
		return e.Density.Likely >= nearReady*od
	case b.Vessel.HarvestOD > 0 && e.Density.Known():
		return e.Density.Likely >= nearReady*b.Vessel.HarvestOD
	}
	list := t.Counted()
	return list[len(list)-1].Log-list[0].Log > math.Log(4)
}
