package alerts

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// GroupText is CallText for one event that hit several vessels at once, such
// as twelve that lose their air in the same minute: one cause, one call. All
// findings are of one class; the first tells the cause.
func GroupText(fs []analysis.Finding, zone *time.Location) string {
	if len(fs) == 0 {
		return ""
	}
	f := fs[0]
	if len(fs) == 1 {
		return CallText(f, About{Zone: zone})
	}
	f.Since = earliest(fs)
	// The numbers behind the first comma belong to one vessel only.
	f.What, _, _ = strings.Cut(what0(f), ", ")
	return fit([]part{
		{text: strconv.Itoa(len(fs)) + " vessels at once: " + sentence(happening(f, About{Zone: zone})), keep: 9},
		{text: sentence(list(vessels(fs), 12)), keep: 7},
		{text: prefixed("Likely one cause for all: ", together[f.Class]), keep: 5},
		{text: prefixed("First: ", lowerFirst(first(f))), keep: 8},
		{text: sentence(mind(f)), keep: 1},
	})
}

// GroupBody is GroupText at length: what holds for all, then every vessel.
func GroupBody(fs []analysis.Finding, zone *time.Location) string {
	if len(fs) == 1 {
		return CallBody(fs[0], About{Zone: zone})
	}
	var lines []string
	for i, f := range fs {
		if i == 0 {
			lines = append(lines, GroupText(fs, zone))
		}
		lines = append(lines, "- "+head(f, About{})+sentence(happening(f, About{Zone: zone})))
	}
	if len(fs) > 0 {
		lines = append(lines, prefixed("Safety: ", lowerFirst(said[fs[0].Class].safety)))
	}
	return strings.Join(filled(lines), "\n")
}

// together is the likely cause where several vessels suffer at once.
var together = map[analysis.Class]string{
	analysis.Stall:        "the medium, the dose or the room's light",
	analysis.Crash:        "the medium or the inoculum they share",
	analysis.Contaminated: "the medium or the inoculum they share",
	analysis.Light:        "the timer, a fuse or the mains",
	analysis.Temperature:  "the room's cooling or heating",
	analysis.Airflow:      "the air pump, its main line or the mains",
	analysis.Sensor:       "the network, the broker or the mains",
}

func earliest(fs []analysis.Finding) time.Time {
	var t time.Time
	for _, f := range fs {
		if !f.Since.IsZero() && (t.IsZero() || f.Since.Before(t)) {
			t = f.Since
		}
	}
	return t
}

// vessels are the names of those hit, in the order in which they stand on the
// shelf, not that in which their sensors noticed.
func vessels(fs []analysis.Finding) []string {
	var names []string
	for _, f := range fs {
		names = append(names, f.Vessel)
	}
	slices.Sort(names)
	return names
}
