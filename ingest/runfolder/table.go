package runfolder

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"
)

// table reads a CSV file with a header row row by row. It gathers what is wrong
// with single cells, so that a person mends them all at once.
type table struct {
	file string
	csv  *csv.Reader
	at   map[string]int // column by name
	row  []string
	errs []error
}

// openTable reads the header. The columns in need must be there.
func openTable(path string, need ...string) (*table, io.Closer, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	t := &table{file: path, csv: csv.NewReader(skipMark(file)), at: map[string]int{}}
	t.csv.FieldsPerRecord = -1
	t.csv.ReuseRecord = true
	if err := t.header(need); err != nil {
		return nil, nil, errors.Join(err, file.Close())
	}
	return t, file, nil
}

// skipMark drops the byte order mark that some spreadsheets write.
func skipMark(r io.Reader) io.Reader {
	b := bufio.NewReader(r)
	if head, err := b.Peek(3); err == nil && bytes.Equal(head, []byte("\xef\xbb\xbf")) {
		_, _ = b.Discard(3) // three bytes were just peeked
	}
	return b
}

func (t *table) header(need []string) error {
	names, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return &PlaceError{File: t.file, Line: 1, Err: errors.New("no header row")}
	} else if err != nil {
		return t.csvError(err)
	}
	for i, name := range names {
		name = strings.TrimSpace(name)
		if _, twice := t.at[name]; twice && name != "" {
			return t.cellError(i, name, errors.New("column named twice"))
		}
		t.at[name] = i
	}
	for _, name := range need {
		if _, ok := t.at[name]; !ok {
			return &PlaceError{File: t.file, Line: 1, Err: fmt.Errorf("no column %s", name), Input: strings.Join(names, ",")}
		}
	}
	return nil
}

// next moves to the next row. It returns false at the end of the file, and
// where the file cannot be read on.
func (t *table) next() bool {
	for {
		row, err := t.csv.Read()
		if errors.Is(err, io.EOF) {
			return false
		}
		if err != nil {
			t.errs = append(t.errs, t.csvError(err))
			return false
		}
		if !blank(row) {
			t.row = row
			return true
		}
	}
}

// blank tells rows of nothing but commas, which spreadsheets leave behind.
func blank(row []string) bool {
	for _, cell := range row {
		if strings.TrimSpace(cell) != "" {
			return false
		}
	}
	return true
}

func (t *table) csvError(err error) error {
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		return &PlaceError{File: t.file, Line: parse.Line, Column: parse.Column, Err: parse.Err}
	}
	return fmt.Errorf("read %s: %w", t.file, err)
}

func (t *table) cellError(column int, cell string, err error) error {
	line, col := t.csv.FieldPos(column)
	return &PlaceError{File: t.file, Line: line, Column: col, Input: quote([]byte(cell)), Err: err}
}

// wrong notes what is wrong with the named cell of this row.
func (t *table) wrong(name, format string, args ...any) {
	err := fmt.Errorf(name+": "+format, args...)
	if i, ok := t.at[name]; ok && i < len(t.row) {
		t.errs = append(t.errs, t.cellError(i, t.row[i], err))
		return
	}
	line, _ := t.csv.FieldPos(0)
	t.errs = append(t.errs, &PlaceError{File: t.file, Line: line, Err: err})
}

// maxFaults is how many faults of one file are listed.
const maxFaults = 20

// faults joins what was wrong, nil if nothing was.
func (t *table) faults() error {
	if more := len(t.errs) - maxFaults; more > 0 {
		return errors.Join(append(t.errs[:maxFaults:maxFaults], fmt.Errorf("%s: and %d more", t.file, more))...)
	}
	return errors.Join(t.errs...)
}

// text returns the named cell, empty where the column or the cell is missing.
func (t *table) text(name string) string {
	if i, ok := t.at[name]; ok && i < len(t.row) {
		return strings.TrimSpace(t.row[i])
	}
	return ""
}

// number returns the named cell, or unknown where it is empty. A number
// outside low to high is wrong.
func (t *table) number(name string, unknown, low, high float64) float64 {
	cell := t.text(name)
	if cell == "" {
		return unknown
	}
	v, err := strconv.ParseFloat(cell, 64)
	switch {
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0):
		t.wrong(name, "not a number")
	case v < low || v > high:
		t.wrong(name, "not from %g to %g", low, high)
	default:
		return v
	}
	return unknown
}

// instant returns the named cell as a time, zero where it is empty.
func (t *table) instant(name string) time.Time {
	cell := t.text(name)
	if cell == "" {
		return time.Time{}
	}
	at, err := time.Parse(time.RFC3339, cell)
	if err != nil {
		t.wrong(name, "not a time with zone such as 2026-01-31T08:00:00Z")
		return time.Time{}
	}
	return at.UTC().Truncate(time.Millisecond)
}
