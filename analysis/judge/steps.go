package judge

import (
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

const (
	// askAfter is how long a step by day waits for somebody to write down what
	// they did; people write minutes late.
	askAfter = 45 * time.Minute
	// unanswered is after how long a question by day calls somebody, or before that
	// when the last person goes home: until it is answered nobody watches the
	// culture, and half a working day is long enough to write a line.
	unanswered = 5 * time.Hour
	// stepStands is how long an unexplained step stays a finding.
	stepStands = 12 * time.Hour
)

const (
	// settlesIn is how long air must be out of order for settled cells to make
	// a step; a transfer shuts it for less.
	settlesIn = 30 * time.Minute
	// mixesIn is how long after that stirring them up again may take.
	mixesIn = 90 * time.Minute
)

// settled reports whether a step at that time is cells that settled while the
// air was out of order, or were stirred up when it came back.
func (b *bench) settled(at int64) bool {
	return b.AirBad-b.AirFrom >= settlesIn.Milliseconds() && at >= b.AirFrom && at <= b.AirBad+mixesIn.Milliseconds()
}

// steps asks about a sudden change that nobody entered: by day a question, which
// calls when nobody answers it, with the house empty a call at once.
func (b *bench) steps() {
	hit, open := b.Track.Question()
	age := time.Duration(b.now-hit.At) * time.Millisecond
	open = open && age < stepStands && !b.settled(hit.At)
	if !open {
		b.Held[stepped], b.Held[asked] = 0, 0
		return
	}
	if b.Hit != hit.At { // another step than the one asked about
		b.Hit, b.Held[stepped], b.Held[asked] = hit.At, 0, 0
	}
	// Whether anybody was there when it happened decides how it is asked, once.
	if b.Held[stepped] == 0 && b.Held[asked] == 0 {
		if b.Staffed != nil && b.Staffed(time.UnixMilli(hit.At)) {
			b.Held[asked] = b.now
		} else {
			b.Held[stepped] = b.now
		}
	}
	if b.Held[asked] != 0 && b.Held[stepped] == 0 && (b.pressing(hit) || age >= unanswered || !b.Staffed(b.Now)) {
		b.Held[stepped] = b.now
	}
	f := analysis.Finding{
		Grade:    1, // greater than a probe that lies
		What:     fmt.Sprintf("Density %s %.0f %% within minutes and nobody entered why", direction(hit.Ratio), change(hit.Ratio)),
		Evidence: []analysis.Evidence{{Name: "density after over before", Value: float64(hit.Ratio), Normal: 1}},
		Sure:     0.8,
	}
	switch {
	case b.Held[stepped] != 0:
		f.Cause, f.First = "a slipped probe, a siphon, a leak or a burst bag", "Look at the floor and the level, then at the probe."
		b.find(analysis.Sensor, unit.OD, hit.At, f)
	case b.lasted(asked, askAfter):
		f.Cause, f.First = "a draw or a refill that was not written down", "Enter what was done in the logbook."
		b.find(analysis.Notice, unit.OD, hit.At, f)
	}
}

// pressing reports whether a step by day is none that anybody makes on purpose,
// and has had its time to be explained: the probe no longer sees the culture.
func (b *bench) pressing(hit track.Step) bool {
	return hit.Ratio < dryBelow && b.lasted(asked, askAfter)
}

func direction(ratio float32) string {
	if ratio < 1 {
		return "fell by"
	}
	return "rose by"
}

func change(ratio float32) float64 {
	if ratio < 1 {
		return 100 * float64(1-ratio)
	}
	return 100 * float64(ratio-1)
}
