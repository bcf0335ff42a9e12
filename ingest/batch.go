package ingest

import (
	"context"
	"errors"
	"time"
	"unicode"
	"unicode/utf8"
)

// Message is one message as it came from a broker.
type Message struct {
	Topic    string
	Payload  []byte // belongs to the receiver of the Message
	Arrived  time.Time
	Retained bool
}

// Sink takes messages and keeps what they say.
type Sink interface {
	// Put returns nil only after everything the messages say is on disk, in
	// the order given, or set aside on disk with its reason; then they may be
	// acknowledged. After an error nothing of them counts as kept and all of
	// them must be brought again: keeping is idempotent. It may be called by
	// several goroutines.
	Put(ctx context.Context, messages []Message) error
}

// Refused is a piece of input that could not be used and is set aside: kept,
// counted and shown, never a reason to stop the rest.
type Refused struct {
	Reason  Reason
	Detail  string // one sentence: what is wrong, and where
	Line    int    // in the payload, from 1; 0 if it is the whole
	Column  int    // in that line, in bytes from 1; 0 unknown
	Topic   string
	Input   []byte // what was refused, cut to MaxRefusedInput
	Size    int    // bytes before the cut
	Arrived time.Time
}

// MaxRefusedInput is how much of a refused piece of input is kept, in bytes.
const MaxRefusedInput = 4096

// Reason is why something was set aside: a closed set, fit for a metric's label.
type Reason string

// The reasons.
const (
	Unreadable   Reason = "unreadable"    // not line protocol, not JSON, not a number
	NotUTF8      Reason = "not_utf8"      // bytes that are no text
	TooLarge     Reason = "too_large"     // payload over the limit
	UnknownField Reason = "unknown_field" // a quantity or unit nobody knows
	BadValue     Reason = "bad_value"     // NaN, infinite, a text where a number belongs
	BadTime      Reason = "bad_time"      // too far from now
	BadVessel    Reason = "bad_vessel"    // no vessel named, or a name that cannot be one
	BadEntry     Reason = "bad_entry"     // an entry of no known kind
	TooMany      Reason = "too_many"      // more unknown vessels than are kept
)

// Reasons lists every Reason.
var Reasons = []Reason{Unreadable, NotUTF8, TooLarge, UnknownField, BadValue, BadTime, BadVessel, BadEntry, TooMany}

// Batch is what is kept together: either all of it is on disk or none.
type Batch struct {
	Seq      int64     // place in the order of arrival, from 1; given by the store
	Arrived  time.Time // when its newest message came in
	Readings []Reading // in order of arrival, repeated ones included
	Entries  []Entry
	Refused  []Refused
}

// Kept tells what a store did with a batch.
type Kept struct {
	Seq        int64
	Stored     int // readings that are new
	Duplicates int // readings that were there already (same vessel, quantity, time)
	Entries    int // entries that are new
	Refused    int
}

// Sentinel errors of every store.
var (
	// ErrNotOurs: the file is a database of another program.
	ErrNotOurs = errors.New("not a nightshelf database")
	// ErrNewer: the file was written by a newer version.
	ErrNewer = errors.New("database of a newer version")
	// ErrLocked: another process holds the database.
	ErrLocked = errors.New("database is locked by another process")
	// ErrClosed: the store was closed.
	ErrClosed = errors.New("store is closed")
)

// MaxVesselName is the longest vessel name, in bytes.
const MaxVesselName = 64

// ValidVesselName reports whether s can name a vessel: 1 to MaxVesselName
// bytes of UTF-8 without control characters, not ending in a backslash, which
// line protocol cannot carry.
func ValidVesselName(s string) bool {
	if s == "" || len(s) > MaxVesselName || s[len(s)-1] == '\\' {
		return false
	}
	for _, r := range s {
		if unicode.IsControl(r) || r == utf8.RuneError {
			return false
		}
	}
	return true
}
