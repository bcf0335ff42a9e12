package plan

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// InputError says which number or word of an input makes no sense, and what
// would.
type InputError struct {
	Name  string // what it is, for people: "water volume"
	Given string // as given, with its unit: "0 L"
	Need  string // what it must be, a clause
}

// Error implements error.
func (e *InputError) Error() string {
	return fmt.Sprintf("%s %q: %s", e.Name, e.Given, e.Need)
}

// faultList is every fault of one input.
type faultList []error

// Error implements error: one line for each.
func (l faultList) Error() string { return errors.Join(l...).Error() }

// Unwrap lets each be found.
func (l faultList) Unwrap() []error { return l }

// InputErrors are all the faults of an input that an error holds, in order.
func InputErrors(err error) []*InputError {
	all := faultList{err}
	errors.As(err, &all)
	var out []*InputError
	for _, one := range all {
		var fault *InputError
		if errors.As(one, &fault) {
			out = append(out, fault)
		}
	}
	return out
}

// What is beyond these bounds is a slip of the pen, not a job at a shelf.
const (
	leastVolumeL    = 0.001
	greatestVolumeL = 1e6
	leastCells      = 1    // cells/mL
	greatestCells   = 1e10 // cells/mL, fifty times the densest paste-like culture
)

// checker collects every fault of one input, so that all are told at once.
type checker struct{ faults []error }

// within demands lo <= v <= hi; NaN is never within.
func (c *checker) within(name string, v, lo, hi float64, unit string) {
	if v >= lo && v <= hi {
		return
	}
	c.fault(name, withUnit(v, unit), fmt.Sprintf("must be from %s to %s", num(lo), withUnit(hi, unit)))
}

// optional is within for what may be left at zero.
func (c *checker) optional(name string, v, lo, hi float64, unit string) {
	if v != 0 {
		c.within(name, v, lo, hi, unit)
	}
}

func (c *checker) volume(name string, litres float64) {
	c.within(name, litres, leastVolumeL, greatestVolumeL, "L")
}

func (c *checker) cells(name string, cellsPerML float64) {
	c.within(name, cellsPerML, leastCells, greatestCells, "cells/mL")
}

func (c *checker) fault(name, given, need string) {
	c.faults = append(c.faults, &InputError{Name: name, Given: given, Need: need})
}

func (c *checker) err(step string) error {
	if len(c.faults) == 0 {
		return nil
	}
	return fmt.Errorf("%s: %w", step, faultList(c.faults))
}

func withUnit(v float64, unit string) string {
	if unit == "" {
		return num(v)
	}
	return num(v) + " " + unit
}

// short writes a number that was computed, to four digits.
func short(v float64) string { return toDigits(v, 4) }

func toDigits(v float64, digits int) string {
	if r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64); err == nil {
		v = r
	}
	return num(v)
}

// rough writes a bound, to two digits.
func rough(v float64) string { return toDigits(v, 2) }

// num writes a number that was given, without the noise of binary fractions.
func num(v float64) string {
	if r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 7, 64), 64); err == nil {
		v = r
	}
	if a := math.Abs(v); a != 0 && (a < 1e-3 || a >= 1e7) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// or returns v, or the default where v was not said.
func or(v, otherwise float64) float64 {
	if v == 0 {
		return otherwise
	}
	return v
}
