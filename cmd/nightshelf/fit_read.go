package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/nightshelf/nightshelf/analysis/growth"
)

// namedCurve is one curve of a file.
type namedCurve struct {
	ID string
	growth.Curve
}

// curveColumns are those that a file must have.
var curveColumns = []string{"curve_id", "t_days", "value"}

// mostOpen bounds how often reading starts again after a quote that is never
// closed, since each time the rest of the file is read through.
const mostOpen = 20

// curveReader reads curves and goes on after what it cannot read.
type curveReader struct {
	file   string
	column map[string]int
	place  map[string]int // of a curve in curves
	curves []namedCurve
	faults []string
}

// readCurves reads the curves in the order in which they begin. Each fault
// names file, line and column and quotes what stands there. An empty value is
// one that was not measured, no fault.
func readCurves(file string, data []byte) ([]namedCurve, []string, error) {
	r := curveReader{file: file, place: map[string]int{}}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	skipped := 0 // lines before what the reader sees
	for open := 0; ; {
		at, err := r.read(data, skipped)
		if err != nil || at == 0 {
			return r.curves, r.faults, err
		}
		if open++; open > mostOpen {
			r.fault(skipped+at, 1, "more than %d quotes are never closed: nothing is read from here on", mostOpen)
			return r.curves, r.faults, nil
		}
		for range at {
			_, data, _ = bytes.Cut(data, []byte("\n"))
		}
		skipped += at
	}
}

// read reads on until the end, or until a quote that is never closed, of which
// it returns the line.
func (r *curveReader) read(data []byte, skipped int) (open int, err error) {
	in := csv.NewReader(bytes.NewReader(data))
	in.FieldsPerRecord, in.ReuseRecord = -1, true
	for {
		row, err := in.Read()
		var parse *csv.ParseError
		switch {
		case errors.Is(err, io.EOF):
			if r.column == nil {
				return 0, errors.New("the file is empty")
			}
			return 0, nil
		case errors.As(err, &parse):
			if r.column == nil {
				return 0, fmt.Errorf("the header cannot be read: %w", parse.Err)
			}
			if parse.StartLine < parse.Line {
				r.opened(data, skipped, parse.StartLine)
				return parse.StartLine, nil
			}
			r.fault(skipped+parse.Line, parse.Column, "%v", parse.Err)
			continue
		case err != nil:
			return 0, err
		}
		if r.column == nil {
			if err := r.header(row); err != nil {
				return 0, err
			}
			continue
		}
		r.row(row, func(field int) (line, column int) {
			line, column = in.FieldPos(min(field, len(row)-1))
			return skipped + line, column
		})
	}
}

// opened complains of a quote in a line of data that is not closed.
func (r *curveReader) opened(data []byte, skipped, line int) {
	for range line - 1 {
		_, data, _ = bytes.Cut(data, []byte("\n"))
	}
	row, _, _ := bytes.Cut(data, []byte("\n"))
	r.fault(skipped+line, bytes.IndexByte(row, '"')+1, "a quote is not closed: %q", shortened(string(bytes.TrimSpace(row))))
}

func (r *curveReader) header(row []string) error {
	r.column = map[string]int{}
	for i, name := range row {
		name = strings.ToLower(strings.TrimSpace(name))
		if _, twice := r.column[name]; twice && (name == "curve_id" || name == "t_days" || name == "value") {
			return fmt.Errorf("the header has two columns %q", name)
		}
		r.column[name] = i
	}
	for _, want := range curveColumns {
		if _, ok := r.column[want]; !ok {
			return fmt.Errorf("there is no column %q; the header is %q", want, shortened(strings.Join(row, ",")))
		}
	}
	return nil
}

// row takes one row in. at gives the place of a field.
func (r *curveReader) row(row []string, at func(field int) (line, column int)) {
	if len(row) == 1 && strings.TrimSpace(row[0]) == "" {
		return
	}
	var cell [3]string
	for i, name := range curveColumns {
		k := r.column[name]
		if k >= len(row) {
			line, column := at(k)
			r.fault(line, column, "row %q has no %s: it has %d columns", shortened(strings.Join(row, ",")), name, len(row))
			return
		}
		cell[i] = strings.TrimSpace(row[k])
	}
	complain := func(i int, why string) {
		line, column := at(r.column[curveColumns[i]])
		r.fault(line, column, "%s %q: %s", curveColumns[i], shortened(cell[i]), why)
	}
	if cell[0] == "" {
		complain(0, "empty, so it is not known whose value this is")
		return
	}
	days, why := cellNumber(cell[1])
	if why == "" && math.IsNaN(days) {
		why = "no time"
	}
	if why != "" {
		complain(1, why)
		return
	}
	value, why := cellNumber(cell[2])
	if why != "" {
		complain(2, why)
		return
	}
	k, known := r.place[cell[0]]
	if !known {
		k = len(r.curves)
		r.place[cell[0]] = k
		r.curves = append(r.curves, namedCurve{ID: cell[0]})
	}
	c := &r.curves[k]
	c.Days, c.Values = append(c.Days, days), append(c.Values, value)
}

// cellNumber reads a number; NaN where none was measured.
func cellNumber(text string) (v float64, why string) {
	switch strings.ToLower(text) {
	case "", "na", "nan":
		return math.NaN(), ""
	}
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case errors.Is(err, strconv.ErrRange), err == nil && math.IsInf(v, 0):
		return 0, "beyond all numbers"
	case err != nil && strings.Contains(text, ","):
		return 0, "not a number; write a decimal point"
	case err != nil:
		return 0, "not a number"
	}
	return v, ""
}

func (r *curveReader) fault(line, column int, format string, args ...any) {
	r.faults = append(r.faults, fmt.Sprintf("%s:%d:%d: ", r.file, line, column)+fmt.Sprintf(format, args...))
}

// shortened keeps what is quoted to a line.
func shortened(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}
