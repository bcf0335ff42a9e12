package runfolder

import (
	"errors"
	"fmt"
)

// Sentinel errors, found with errors.Is.
var (
	// ErrNotRunFolder: a file that every run folder has is missing.
	ErrNotRunFolder = errors.New("not a run folder")
	// ErrUnfinished: the writing of the folder was broken off.
	ErrUnfinished = errors.New("run folder was not written to its end")
	// ErrLineTooLong: a line is longer than MaxLine.
	ErrLineTooLong = fmt.Errorf("line longer than %d bytes", MaxLine)
	// ErrCutShort: a file ends in the middle, or is damaged from here on.
	ErrCutShort = errors.New("file is cut short or damaged")
)

// PlaceError says what is wrong at one place of a file.
type PlaceError struct {
	File   string // as it was opened
	Line   int    // from 1
	Column int    // in bytes from 1; 0 where the whole line is meant
	Input  string // what stood there, cut to a few words
	Err    error
}

// Error gives file:line:column, what is wrong and the input.
func (e *PlaceError) Error() string {
	place := fmt.Sprintf("%s:%d", e.File, e.Line)
	if e.Column > 0 {
		place += fmt.Sprintf(":%d", e.Column)
	}
	if e.Input == "" {
		return fmt.Sprintf("%s: %v", place, e.Err)
	}
	return fmt.Sprintf("%s: %v: %q", place, e.Err, e.Input)
}

// Unwrap returns the cause.
func (e *PlaceError) Unwrap() error { return e.Err }

// maxQuote is how much of the input an error repeats, in bytes.
const maxQuote = 60

func quote(b []byte) string {
	if len(b) > maxQuote {
		return string(b[:maxQuote]) + "..."
	}
	return string(b)
}
