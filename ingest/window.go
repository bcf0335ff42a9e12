package ingest

import (
	"fmt"
	"time"
)

// The window that a zero Window stands for.
const (
	DefaultAhead  = time.Hour
	DefaultBehind = 366 * 24 * time.Hour
)

// earliest is what a time stamp must not lie before when there is no
// reference: older ones are clocks that were never set.
var earliest = time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC)

// Window bounds how far a time stamp may lie from the time it is judged
// against. A zero bound stands for its default.
type Window struct {
	Ahead  time.Duration // into the future
	Behind time.Duration // into the past
}

func (w Window) ahead() time.Duration {
	if w.Ahead == 0 {
		return DefaultAhead
	}
	return w.Ahead
}

func (w Window) behind() time.Duration {
	if w.Behind == 0 {
		return DefaultBehind
	}
	return w.Behind
}

// Check returns an error that says what is wrong if at is more than Ahead after
// or more than Behind before reference. Live, the reference is the time of
// arrival; in a replay it follows the readings. Without a reference (zero), at
// must only not be more than Ahead after arrived, unless that is zero too, and
// not before the year 2000. Both bounds belong to the window.
func (w Window) Check(at, arrived, reference time.Time) error {
	latest, oldest := reference, reference.Add(-w.behind())
	if reference.IsZero() {
		latest, oldest = arrived, earliest
	}
	switch {
	case at.Before(earliest) && at.Before(oldest):
		return fmt.Errorf("time %s is before the year 2000: the clock was never set", show(at))
	case at.Before(oldest):
		return fmt.Errorf("time %s is %s before %s: at most %s is taken",
			show(at), span(reference.Sub(at)), show(reference), span(w.behind()))
	case !latest.IsZero() && at.After(latest.Add(w.ahead())):
		return fmt.Errorf("time %s is %s ahead of %s: at most %s is taken",
			show(at), span(at.Sub(latest)), show(latest), span(w.ahead()))
	}
	return nil
}

// Read returns the time n units of p after 1970, checked as by Check. Its error
// is a [*PrecisionError] if the number would have been a good one in another
// precision.
func (w Window) Read(n int64, p Precision, arrived, reference time.Time) (time.Time, error) {
	at, err := w.readAs(n, p, arrived, reference)
	if err == nil {
		return at, nil
	}
	for _, q := range Precisions {
		if _, other := w.readAs(n, q, arrived, reference); other == nil {
			return time.Time{}, &PrecisionError{N: n, Looks: q, Err: err}
		}
	}
	return time.Time{}, err
}

// PrecisionError says that a number is no good time as it was read, but would
// be one in another precision.
type PrecisionError struct {
	N     int64
	Looks Precision
	Err   error // what is wrong with it as it was read
}

// Error tells what to set.
func (e *PrecisionError) Error() string {
	return fmt.Sprintf("%v (%d looks like %s: set precision: %s)", e.Err, e.N, e.Looks, string(e.Looks))
}

// Unwrap returns what is wrong with the number as it was read.
func (e *PrecisionError) Unwrap() error { return e.Err }

func (w Window) readAs(n int64, p Precision, arrived, reference time.Time) (time.Time, error) {
	at, ok := p.Time(n)
	if !ok {
		return time.Time{}, fmt.Errorf("time %d is no number of %s", n, p)
	}
	return at, w.Check(at, arrived, reference)
}

func show(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// span shows a distance in the unit a person would say it in.
func span(d time.Duration) string {
	const day = 24 * time.Hour
	switch {
	case d >= 2*366*day:
		return fmt.Sprintf("%.0f years", d.Hours()/24/365.25)
	case d >= 2*day:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	case d >= time.Second:
		return d.Round(time.Second).String()
	}
	return d.Round(time.Millisecond).String()
}
