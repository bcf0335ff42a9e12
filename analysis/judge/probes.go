package judge

import (
	"fmt"
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// possible is what each quantity can be beside a culture of marine algae;
// outside of it the probe is wrong and not the room.
var possible = [unit.Count]struct{ low, high float64 }{
	unit.OD:          {-0.1, 5},   // a blank drifts below zero, no carboy is darker
	unit.OD2:         {-0.1, 5},   //
	unit.Temperature: {-2, 50},    // seawater freezes at -1.9; nothing but a fire makes 50
	unit.Light:       {-20, 3000}, // full sun is 2,000 umol m-2 s-1
	unit.Airflow:     {-0.5, 500}, //
	unit.PH:          {3, 12},     // seawater is 8, a culture out of carbon 10
}

// brokenFor is how long a probe must say so. Common digital thermometers say
// -127 when they have lost contact and 85 when they were just switched on.
const brokenFor = 5 * time.Minute

func (b *bench) probes() {
	if b.silence() {
		return
	}
	for _, q := range unit.All {
		b.impossible(q)
		b.stuck(q)
	}
}

// silence looks for what is not heard, and reports whether nothing is.
func (b *bench) silence() bool {
	newest, heard := b.Born, false
	for _, q := range unit.All {
		if n := &b.Track.Newest[q]; n.At != 0 {
			heard = true
			newest = max(newest, n.At)
		}
	}
	if !heard && len(b.Vessel.Expects) == 0 && b.Vessel.Interval == 0 {
		return true // nothing is known to measure here
	}
	if b.hold(silentAll, b.now-newest > b.quiet().Milliseconds()) != 0 {
		b.find(analysis.Sensor, 0, newest, allSilent(heard, time.Duration(b.now-newest)*time.Millisecond))
		return true
	}
	for _, q := range unit.All {
		b.silent(q)
	}
	return false
}

func allSilent(heard bool, silence time.Duration) analysis.Finding {
	what := "Nothing heard of any of its sensors"
	if !heard {
		what = "Nothing ever heard of this vessel"
	}
	return analysis.Finding{What: what,
		Cause:    "its gateway, power or network, or a name that differs from the configuration",
		First:    "Look at the vessel itself, then at the gateway's lamp and plug.",
		Evidence: []analysis.Evidence{{Name: "silence", Value: silence.Hours(), Normal: math.NaN(), Unit: "h"}}}
}

// constantFor is how long a quantity that the configuration does not expect
// must have come before its silence is one.
const constantFor = 24 * time.Hour

func (b *bench) silent(q ingest.Quantity) {
	n := &b.Track.Newest[q]
	last := n.At
	if last == 0 {
		last = b.Born
	}
	// One reading of something nobody expects is no promise of more.
	if !b.expects(q) && n.At-n.First < constantFor.Milliseconds() {
		return
	}
	if b.hold(silentFirst+int(q), b.now-last > b.quiet().Milliseconds()) == 0 {
		return
	}
	if q == unit.OD && b.Track.Second.At == 0 {
		b.ODBad = b.now // nothing tells of the culture
	}
	b.find(analysis.Sensor, q, last, analysis.Finding{
		What:  fmt.Sprintf("No %s heard, other sensors of the vessel are", q),
		Cause: "a plug, a cable or the probe itself",
		First: "Check the vessel by eye; then the probe's plug and cable."})
}

func (b *bench) expects(q ingest.Quantity) bool {
	for _, e := range b.Vessel.Expects {
		if e == q {
			return true
		}
	}
	return false
}

func (b *bench) impossible(q ingest.Quantity) {
	n := &b.Track.Newest[q]
	limit := possible[q]
	out := n.Filled > 0 && (n.Value < limit.low || n.Value > limit.high)
	since := b.hold(impossibleFirst+int(q), out)
	if since == 0 || !b.lasted(impossibleFirst+int(q), brokenFor) {
		return
	}
	if q == unit.OD {
		b.ODBad = b.now
	}
	b.find(analysis.Sensor, q, since, analysis.Finding{
		What:     fmt.Sprintf("The %s probe says %s, which cannot be", q, amount(n.Value, q)),
		Cause:    "a probe that lost contact or power",
		First:    "Check the probe's plug; until then nobody watches this quantity.",
		Evidence: []analysis.Evidence{{Name: q.String(), Value: n.Value, Normal: math.NaN(), Unit: q.Unit()}}})
}

// A probe is stuck when it repeats itself for longer than this and more often
// than its own past makes believable.
const stuckFor = 45 * time.Minute

// stuckOdds is the logarithm of the odds against a run of repeats, by a probe
// that is alive, at which it is taken to be stuck: one in a thousand million,
// so that a season of readings brings none.
const stuckOdds = -20.7

func (b *bench) stuck(q ingest.Quantity) {
	if q != unit.OD && q != unit.OD2 && q != unit.Airflow {
		return // light rests at zero, temperature and pH at a step of their scale, for hours
	}
	n := &b.Track.Newest[q]
	held := b.Held[stuckFirst+int(q)] != 0
	is := b.now-n.RunSince >= stuckFor.Milliseconds() && n.At-n.RunSince >= stuckFor.Milliseconds() && unlikely(n)
	if q == unit.Airflow && b.Held[airOff] != 0 {
		is = false // no air is a finding of its own, and the same from hour to hour
	}
	if is && !held {
		b.Held[stuckFirst+int(q)] = n.RunSince
	}
	if b.hold(stuckFirst+int(q), is) == 0 {
		return
	}
	if q == unit.OD {
		b.ODBad = b.now
	}
	b.find(analysis.Sensor, q, n.RunSince, analysis.Finding{
		What:     fmt.Sprintf("The %s probe has said exactly %s %d times in a row", q, amount(n.Value, q), n.Run),
		Cause:    "a probe or gateway that repeats its last value",
		First:    "Look at the vessel by eye; then unplug the probe and plug it in again.",
		Evidence: []analysis.Evidence{{Name: "repeats", Value: float64(n.Run), Normal: math.NaN()}}})
}

// lived is how many readings a probe must have shown before it can be said to
// have stopped living: a coarse one may say the same from its first day on.
const lived = 20

// unlikely reports whether a run of that length is beyond belief for a probe
// that repeated its predecessor as rarely as this one used to.
func unlikely(n *track.Newest) bool {
	if n.Seen < lived {
		return false
	}
	p := (float64(n.Same) + 1) / (float64(n.Seen) + 2)
	return float64(n.Run-1)*math.Log(p) < stuckOdds
}

func amount(v float64, q ingest.Quantity) string {
	s := fmt.Sprintf("%.4g", v)
	if u := q.Unit(); u != "" {
		return s + " " + u
	}
	return s
}
