package config

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Clock says which clock a room goes by.
type Clock string

// The clocks.
const (
	Wall     Clock = "wall"     // the machine's own
	Readings Clock = "readings" // the stamps of the readings: recorded weeks replayed
)

// Config is one room as its people wrote it down, with defaults filled in and
// paths resolved against the folder of the file.
type Config struct {
	File string // as it was given to Load or Parse

	Room             string         // name of the room, required
	Zone             *time.Location // key zone, an IANA name; default UTC
	Data             string         // path of the database; default nightshelf.db beside the file
	Listen           string         // host:port of the page; default 127.0.0.1:8470; port 0 takes a free one
	BehindProxy      bool           // a proxy that asks for a password stands before the page; default false
	PublicURL        string         // the page as a phone outside reaches it, without a slash at its end; default none
	Clock            Clock          // default Wall
	Lateness         time.Duration  // how late a reading is still put in its place; 0 to 24 h, default 1 h
	FalseCallsAMonth float64        // how many false calls the room bears, 0.1 to 30; default 1
	ReferenceLots    []string       // lots of this room's own record that its lots are held against; default none
	ReferenceRuns    string         // folder of run folders whose reference lots they are held against too; default none
	Staffed          Hours          // key staffed; empty: nobody is ever there
	Broker           Broker         // required
	Devices          []Device       // key devices: what cannot speak line protocol
	LampLuxPerUmol   float64        // lux per umol photons m-2 s-1, for lux meters; 10 to 200, default DefaultLuxPerUmol
	Phones           []Phone        // in the order they are tried
	Vessels          []Vessel       // at least one, in the order of the shelf
	Recipes          []Recipe       // media of the house's own, for dosing
	Bleach           Bleach         // the label that sterilising goes by where no other is said

	// Warnings are places that are read as they stand but are likely to be
	// regretted, such as a secret that every user of the machine can read.
	Warnings []Fault
}

// DefaultLuxPerUmol is the factor of cool white lamps, in lux per umol photons
// m-2 s-1, see [unit.DefaultLuxPerUmol].
const DefaultLuxPerUmol = unit.DefaultLuxPerUmol

// Broker says where readings come from: exactly one of Embedded and URL.
type Broker struct {
	Embedded   string        // host:port our own broker listens on; loopback unless Username is set; port 0 takes a free one
	URL        string        // a broker that runs elsewhere: tcp, or ssl for TLS
	ClientID   string        // 1 to 64 characters; default nightshelf- and a slug of the room
	Username   string        // of ours at URL, or of the devices at Embedded; default none
	Password   Secret        // key password_file
	Topics     []string      // MQTT filters that do not overlap; default nightshelf/#
	Precision  time.Duration // unit of line-protocol stamps: 1 ns, 1 us, 1 ms or 1 s; default 1 ns
	MaxPayload int           // a bigger message is set aside, bytes; 1 KiB to 16 MiB, default 1 MiB
}

// Device is a way to read messages that are no line protocol. Exactly one of
// a {vessel} in Topic, Vessel and VesselField says which vessel they are of.
type Device struct {
	Topic       string  // levels, of which one may be {vessel} and any may be +
	Vessel      string  // name of the vessel of every message
	VesselField string  // path of the JSON field that names the vessel
	Format      string  // number or json
	Field       string  // of format number: the field name with its unit, such as od or temp_f
	Fields      []Value // of format json, in the order of the file
	Time        string  // path of the JSON field with the time; empty: the time of arrival
	TimeUnit    string  // s, ms, us, ns or rfc3339; default s
}

// Value is one value in a JSON message.
type Value struct {
	Path  string // names parted by dots
	Field string // field name with its unit, such as temp_c
}

// Phone is a receiver of calls.
type Phone struct {
	Name         string        // 1 to 64 characters, unique
	URL          string        // http or https; holds secrets often: show ShownURL instead
	Secret       Secret        // key secret_file: whsec_ and the base64 of 24 to 64 bytes
	Headers      []Header      // further headers, in the order of the file
	AllowPrivate bool          // private and loopback addresses are meant; default false
	Timeout      time.Duration // of one attempt; 1 s to 60 s, default 15 s
	Body         string        // text/template of the request's body; empty: the usual JSON
}

// Header is one header that goes with every call to a phone.
type Header struct {
	Name  string
	Value Secret
}

// Vessel is one place on the shelf, with what is set there. Zero numbers mean
// that it is not known, except where said otherwise.
type Vessel struct {
	Name       string          // 1 to 64 bytes, unique
	Kind       string          // carboy, flask, bag, column or tank; default carboy
	VolumeL    float64         // 0.05 to 20000 L
	LightsOn   time.Duration   // local time the lamp comes on, since midnight; -1 unknown
	LightHours time.Duration   // how long it burns; 0.5 to 24 h
	LightShape string          // square or sine; default square
	ParUmol    float64         // light at its peak; 1 to 3000 umol photons m-2 s-1
	TempC      float64         // -2 to 45 degC; NaN unknown
	TempBandK  float64         // how far from TempC is still right; 0.2 to 15 K, default 3
	AirLpm     float64         // 0.01 to 500 L/min
	ByHand     bool            // key by_hand: no od probe watches it, its density is counted; default false
	Interval   time.Duration   // between two readings of one quantity; 1 s to 6 h
	Quantities []unit.Quantity // what its sensors send; empty: whatever is seen
	HarvestOD  float64         // od above blank at which a lot is ready; 0.01 to 50
}

// fresh is a room in which nothing was said but the file's own name.
func fresh(file string) *Config {
	return &Config{
		File:             file,
		Zone:             time.UTC,
		Data:             "nightshelf.db",
		Listen:           "127.0.0.1:8470",
		Clock:            Wall,
		Lateness:         time.Hour,
		FalseCallsAMonth: 1,
		LampLuxPerUmol:   DefaultLuxPerUmol,
		Broker: Broker{
			Topics:     []string{"nightshelf/#"},
			Precision:  time.Nanosecond,
			MaxPayload: 1 << 20,
		},
	}
}

// freshVessel is a vessel of which nothing was said.
func freshVessel() Vessel {
	return Vessel{Kind: "carboy", LightsOn: -1, LightShape: "square", TempC: math.NaN(), TempBandK: 3}
}
