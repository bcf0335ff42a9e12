// Package runfolder reads and writes run folders: a recorded period of a
// culture room as plain files.
//
//	vessels.csv               what stands on the shelf
//	lots.csv                  what grew in it
//	events.lp                 entries, in order of writing
//	readings.lp[.gz]          readings, in order of arrival
//
// The two line-protocol files pass through as whole lines, in [Chunk]s: what
// a line means is for the line-protocol package to say, which this package
// does not import. Texts in line protocol carry their line breaks escaped, so
// that an entry never spans two lines.
//
// A folder is written beside its place, under its name with [Unfinished]
// behind it, and renamed when it is whole: a folder that has its own name was
// written to the end.
package runfolder

// The files of a run folder.
const (
	VesselsFile    = "vessels.csv"
	LotsFile       = "lots.csv"
	EventsFile     = "events.lp"
	ReadingsFile   = "readings.lp"
	ReadingsFileGz = "readings.lp.gz"
)

// Unfinished is the ending of the name of a folder that is not whole.
const Unfinished = ".unfinished"

// MaxLine is the longest line that is read or written, in bytes, its end included.
const MaxLine = 128 << 10

// ChunkLines is the most lines that one Chunk holds.
const ChunkLines = 256
