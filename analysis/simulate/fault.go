package simulate

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// FaultKind names what goes wrong.
type FaultKind string

// The kinds of fault.
const (
	AirOff  FaultKind = "air_off"
	AirWeak FaultKind = "air_weak"

	LampOut      FaultKind = "lamp_out"
	LampDim      FaultKind = "lamp_dim"
	TimerStuckOn FaultKind = "timer_stuck_on"

	ChillerOut FaultKind = "chiller_out"
	HeaterOut  FaultKind = "heater_out"

	Contamination FaultKind = "contamination" // grazers: slow at first, then bending over
	Lysis         FaultKind = "lysis"         // cells burst within hours
	PartialKill   FaultKind = "partial_kill"  // a share dies at once and fades

	NutrientShort FaultKind = "nutrient_short"
	DeadInoculum  FaultKind = "dead_inoculum"
	Slow          FaultKind = "slow"

	BacterialBloom FaultKind = "bacterial_bloom" // od rises, in the dark too

	ODStuck          FaultKind = "od_stuck"
	ODSilent         FaultKind = "od_silent"
	AllSilent        FaultKind = "all_silent"
	ODGainJump       FaultKind = "od_gain_jump"
	ODBubbleLodged   FaultKind = "od_bubble_lodged"
	ODFouling        FaultKind = "od_fouling"
	TempDisconnected FaultKind = "temp_disconnected"
	ProbeDry         FaultKind = "probe_dry" // the vessel runs out until its probe stands in air
)

// Everywhere as the vessel of a Fault means the whole room in one minute.
const Everywhere = "*"

// Fault is one thing that goes wrong, as data.
type Fault struct {
	Kind   FaultKind
	Vessel string    // or Everywhere
	From   time.Time // faults of the culture wait for one to be there
	Until  time.Time // zero: to the end
	// Strength says how bad it is, see the table of kinds; zero is the usual.
	Strength float64
}

// kinds says of every kind its class and its usual strength (choices).
var kinds = []struct {
	kind     FaultKind
	class    analysis.Class
	strength float64
	meaning  string // of the strength
}{
	{AirOff, analysis.Airflow, 0, "share of the set air that is left"},
	{AirWeak, analysis.Airflow, 0.25, "share of the set air that is left"},
	{LampOut, analysis.Light, 0, "share of the light that is left"},
	{LampDim, analysis.Light, 0.45, "share of the light that is left"},
	{TimerStuckOn, analysis.Light, 1, "share of the light that burns all day"},
	{ChillerOut, analysis.Temperature, 30, "degC that the vessel drifts to"},
	{HeaterOut, analysis.Temperature, 12, "degC that the vessel drifts to"},
	{Contamination, analysis.Crash, 5, "growth rate of the grazers, 1/d"},
	{Lysis, analysis.Crash, 6, "loss of cells, 1/d"},
	{PartialKill, analysis.Crash, 0.5, "share of the cells that dies"},
	{NutrientShort, analysis.Stall, 0.9, "share of the dose that was forgotten"},
	{DeadInoculum, analysis.Stall, 0.9, "share of the inoculum that was dead"},
	{Slow, analysis.Stall, 0.6, "share of the growth that is lacking"},
	{BacterialBloom, analysis.Contaminated, 3.5, "growth rate of the bacteria, 1/d"},
	{ODStuck, analysis.Sensor, 0, ""},
	{ODSilent, analysis.Sensor, 0, ""},
	{AllSilent, analysis.Sensor, 0, ""},
	{ODGainJump, analysis.Sensor, 0.35, "share by which od reads too much"},
	{ODBubbleLodged, analysis.Sensor, 0.15, "od that a bubble adds"},
	{ODFouling, analysis.Sensor, 0.2, "od that a film adds in a day"},
	{TempDisconnected, analysis.Sensor, -127, "degC that the probe sends: -127 or 85"},
	{ProbeDry, analysis.Sensor, 0.25, "share of the volume that is left"},
}

// FaultKinds lists every kind.
func FaultKinds() []FaultKind {
	all := make([]FaultKind, len(kinds))
	for i := range kinds {
		all[i] = kinds[i].kind
	}
	return all
}

func (k FaultKind) index() int {
	for i := range kinds {
		if kinds[i].kind == k {
			return i
		}
	}
	return -1
}

// Valid reports whether k is one of the kinds.
func (k FaultKind) Valid() bool { return k.index() >= 0 }

// Class returns the class of finding that names the fault, empty for a kind
// that does not exist.
func (k FaultKind) Class() analysis.Class {
	if i := k.index(); i >= 0 {
		return kinds[i].class
	}
	return ""
}

// strength returns how bad the fault is.
func (f *Fault) strength() float64 {
	if i := f.Kind.index(); f.Strength == 0 && i >= 0 {
		return kinds[i].strength
	}
	return f.Strength
}

// ParseFault reads a fault from a word such as
//
//	air_off:C03@2026-01-31T01:40:00Z
//	lamp_dim:*@+26h30m/3h=0.4
//
// kind, vessel (* is the whole room), when it begins (a time with zone, or how
// long after start), for how long (to the end if not said) and how bad.
func ParseFault(word string, start time.Time) (Fault, error) {
	f, err := parseFault(word, start)
	if err != nil {
		return Fault{}, fmt.Errorf("fault %q: %w", word, err)
	}
	return f, nil
}

func parseFault(word string, start time.Time) (f Fault, err error) {
	kind, rest, ok := strings.Cut(word, ":")
	at := strings.LastIndexByte(rest, '@')
	if !ok || at <= 0 {
		return f, errors.New("want kind:vessel@when, such as air_off:C03@+26h/3h")
	}
	f.Kind, f.Vessel = FaultKind(kind), rest[:at]
	if !f.Kind.Valid() {
		return f, fmt.Errorf("no kind %q, only %v", kind, FaultKinds())
	}
	when, strength, ok := strings.Cut(rest[at+1:], "=")
	if ok {
		if f.Strength, err = strconv.ParseFloat(strength, 64); err != nil || math.IsNaN(f.Strength) || math.IsInf(f.Strength, 0) {
			return f, fmt.Errorf("strength %q is not a number", strength)
		}
	}
	when, lasting, ok := strings.Cut(when, "/")
	if f.From, err = parseWhen(when, start); err != nil {
		return f, err
	}
	if ok {
		d, err := time.ParseDuration(lasting)
		if err != nil || d <= 0 {
			return f, fmt.Errorf("%q is not how long it lasts, such as 3h", lasting)
		}
		f.Until = f.From.Add(d)
	}
	return f, nil
}

func parseWhen(word string, start time.Time) (time.Time, error) {
	if after, ok := strings.CutPrefix(word, "+"); ok {
		if d, err := time.ParseDuration(after); err == nil && d >= 0 {
			return start.Add(d), nil
		}
	} else if at, err := time.Parse(time.RFC3339, word); err == nil {
		return at, nil
	}
	return time.Time{}, fmt.Errorf("%q is not when it begins, such as +26h or 2026-01-31T01:40:00Z", word)
}
