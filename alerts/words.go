package alerts

import "github.com/nightshelf/nightshelf/analysis"

// words are what is said of a class of trouble where the finding itself says
// nothing, and what is always worth minding.
type words struct {
	what    string // a clause with a capital
	cause   string // the likeliest cause
	first   string // what to do first, a sentence
	mind    string // what would mislead, a sentence; may be left out of a call's text
	safety  string // for the body only
	cleared string // a clause: what is right again
}

const (
	dryHands = "Seawater and mains do not mix: dry hands, switch off before touching lamp, pump, heater or chiller."
	openVent = "Open the vent before the air: a shut vessel under pressure bursts."
	ownPipe  = "Use a pipette of its own for this vessel and wash hands before touching the next."
)

// said holds the words of every class.
var said = map[analysis.Class]words{
	analysis.Stall: {
		what:    "Not growing as it should",
		cause:   "a forgotten dose, or too little light or carbon",
		first:   "Look at its colour, then check the dose in the logbook.",
		mind:    "Do not start others from it.",
		safety:  ownPipe,
		cleared: "growing again as expected",
	},
	analysis.Crash: {
		what:    "Losing cells",
		cause:   "grazers, bacteria, or a poison such as leftover chlorine",
		first:   "Look at a drop through the microscope; do not use it as donor.",
		mind:    "Keep its lines and tools apart.",
		safety:  ownPipe + " Kill what is dumped with bleach; never bleach with acid, ammonia or alcohol; ventilate.",
		cleared: "no longer losing cells",
	},
	analysis.Contaminated: {
		what:    "Growing as it should not",
		cause:   "bacteria or another alga",
		first:   "Look at a drop through the microscope; do not feed it or start from it.",
		mind:    "Density cannot tell who is growing.",
		safety:  ownPipe + " Kill what is dumped with bleach; never bleach with acid, ammonia or alcohol; ventilate.",
		cleared: "growing within bounds again",
	},
	analysis.Light: {
		what:    "Light is not as set",
		cause:   "a lamp, its plug or its timer",
		first:   "Check plug and timer, then swap the lamp.",
		mind:    "A night of it slows growth; it does not kill.",
		safety:  dryHands,
		cleared: "light is as set",
	},
	analysis.Temperature: {
		what:    "Temperature outside its band",
		cause:   "the chiller, the heater or the room's cooling",
		first:   "Check the room's cooling and heating, then move the vessel.",
		mind:    "Change it slowly: a shock harms as much.",
		safety:  dryHands,
		cleared: "temperature is within its band",
	},
	analysis.Airflow: {
		what:    "Air is not as set",
		cause:   "a shut clamp or the pump",
		first:   "Open the vent, then check clamp and pump.",
		mind:    "Cells settle: od falls without dying.",
		safety:  openVent + " " + dryHands,
		cleared: "air is as set",
	},
	analysis.Sensor: {
		what:    "A sensor cannot be trusted",
		cause:   "a loose plug, a slipped probe or a dirty window",
		first:   "Look at the vessel, then at the probe and its plug.",
		mind:    "The culture may be well: nobody is watching it.",
		safety:  dryHands,
		cleared: "the sensor speaks sense again",
	},
	analysis.Notice: {
		what:    "Worth a look by day",
		cleared: "no longer needs a look",
	},
}
