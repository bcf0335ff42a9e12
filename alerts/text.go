package alerts

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// MaxText is the most characters a call's text has.
const MaxText = 280

// About is what a call says of the culture besides the finding.
type About struct {
	Strain string
	Age    time.Duration  // of the lot; zero unknown
	Zone   *time.Location // in which times are told; nil is UTC
	AtRisk []string       // vessels whose lots come from this one, or it from theirs
}

// CallText says in one breath, in at most MaxText characters, what is wrong:
// vessel, strain, age; what, since when, how sure; what is normal; the likely
// cause; what to do first; who else is at risk. What does not fit is left out
// whole, the least needed first; what must be said is cut between words.
func CallText(f analysis.Finding, about About) string {
	return fit([]part{
		{text: head(f, about) + sentence(happening(f, about)), keep: 9},
		{text: sureness(f), keep: 2},
		{text: normal(f.Normal), keep: 3},
		{text: prefixed("Likely ", cause(f)), keep: 5},
		{text: prefixed("First: ", lowerFirst(first(f))), keep: 8},
		{text: prefixed("At risk: ", list(about.AtRisk, 6)), keep: 4},
		{text: sentence(mind(f)), keep: 1},
	})
}

// ClearedText says in at most MaxText characters that the trouble of a is
// over: what is right again, since when, and how long it lasted.
func ClearedText(a Alarm, about About) string {
	f := a.Finding
	f.Key = a.Key
	over := a.Clear
	if over.IsZero() {
		over = a.Ended
	}
	what := head(f, about) + "over, " + said[f.Class].cleared
	if !over.IsZero() {
		what += " since " + clock(over, over, about.Zone)
	}
	lasted := ""
	if begun := begin(f, a.Raised); !begun.IsZero() && over.After(begun) {
		lasted = "It lasted " + span(over.Sub(begun)) + "."
	}
	return fit([]part{
		{text: sentence(what), keep: 9},
		{text: lasted, keep: 5},
		{text: prefixed("It was: ", lowerFirst(what0(f))), keep: 4},
		{text: "Have a look in the morning all the same.", keep: 1},
	})
}

// begin is when the trouble began: as the judge tells it, else when it was raised.
func begin(f analysis.Finding, raised time.Time) time.Time {
	if f.Since.IsZero() {
		return raised
	}
	return f.Since
}

// head names the culture: "C07 Tetraselmis suecica, day 4: ".
func head(f analysis.Finding, about About) string {
	s := clean(f.Vessel)
	if strain := cut(clean(about.Strain), 40); strain != "" {
		s += " " + strain
	}
	if about.Age > 0 {
		s += ", day " + strconv.Itoa(int(about.Age/(24*time.Hour)))
	}
	return s + ": "
}

// happening puts the time behind the first clause of what is going on:
// "air stopped at 02:15 CET, 0.1 of 4.5 L/min".
func happening(f analysis.Finding, about About) string {
	what := cut(lowerFirst(what0(f)), 140)
	if f.Since.IsZero() {
		return what
	}
	clause, rest, more := strings.Cut(what, ", ")
	word := " since "
	if strings.HasSuffix(clause, "stopped") {
		word = " at "
	}
	clause += word + clock(f.Since, f.Seen, about.Zone)
	if more {
		return clause + ", " + rest
	}
	return clause
}

func what0(f analysis.Finding) string {
	if s := strings.TrimRight(clean(f.What), "."); s != "" {
		return s
	}
	return said[f.Class].what
}

func cause(f analysis.Finding) string {
	s := clean(f.Cause)
	if s == "" {
		s = said[f.Class].cause
	}
	return strings.TrimPrefix(lowerFirst(s), "likely ")
}

func first(f analysis.Finding) string {
	if s := clean(f.First); s != "" {
		return s
	}
	return said[f.Class].first
}

// mind is what would mislead, unless the cause says it already.
func mind(f analysis.Finding) string {
	m := said[f.Class].mind
	clause, _, _ := strings.Cut(lowerFirst(m), ":")
	if strings.Contains(lowerFirst(cause(f)), clause) {
		return ""
	}
	return m
}

// sureness tells a probability in whole per cent, never as certainty.
func sureness(f analysis.Finding) string {
	if !(f.Sure > 0) { // zero, and NaN, are not known
		return ""
	}
	return fmt.Sprintf("%d %% sure.", int(min(99, max(1, math.Round(100*f.Sure)))))
}

// normal tells the surroundings that are as they should be.
func normal(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return upperFirst(list(names, 4)) + " normal."
}

// clock tells t in zone; with the day where it is another one than that of now.
func clock(t, now time.Time, zone *time.Location) string {
	if zone == nil {
		zone = time.UTC
	}
	t, now = t.In(zone), now.In(zone)
	switch {
	case now.Before(t), t.YearDay() == now.YearDay() && t.Year() == now.Year():
		return t.Format("15:04 MST")
	case now.Sub(t) < 6*24*time.Hour:
		return t.Format("Mon 15:04 MST")
	case now.Sub(t) < 300*24*time.Hour:
		return t.Format("2 Jan 15:04 MST")
	}
	return t.Format("2 Jan 2006 15:04 MST")
}

// span tells a duration as people do: "26 min", "3 h 05 min", "2 days 4 h".
func span(d time.Duration) string {
	minutes := int(d.Round(time.Minute) / time.Minute)
	switch {
	case minutes < 1:
		return "less than a minute"
	case minutes < 60:
		return fmt.Sprintf("%d min", minutes)
	case minutes < 48*60:
		return fmt.Sprintf("%d h %02d min", minutes/60, minutes%60)
	}
	hours := (minutes + 30) / 60
	return fmt.Sprintf("%d days %d h", hours/24, hours%24)
}
