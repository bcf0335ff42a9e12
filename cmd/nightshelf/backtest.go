package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/cmd/internal/backtest"
	"github.com/nightshelf/nightshelf/cmd/internal/byhour"
)

func newBacktest() *cobra.Command {
	var alarms, growth, forecasts, explain, staffed string
	c := &cobra.Command{
		Use:   "backtest FOLDER",
		Short: "put recorded runs through the watch",
		Long: `Put recorded runs through the same step that watches a room, in the readings'
own time and without looking ahead, and write the alarms it would have raised.
FOLDER is a run folder or holds run folders.

The alarms are CSV: run, vessel, class, raised_at (RFC 3339), call (alarms of
one call share it), quantity, since, what. The growth is CSV too: run, vessel,
at, per_day, low, high: over the 24 h before, with a 90 % interval.

Forecasts are CSV too: run, vessel, made_at, earliest, likely, latest (an 80 %
interval; likely is empty for not within 7 days), of every lot from an age of
two days until it is ready, at 12:00 UTC of each day. They are learnt from the
reference lots in FOLDER; without any they stand on the literature and are wide.`,
		Example: "  nightshelf backtest last-season --alarms alarms.csv",
		Args:    exactly(1, "a folder"),
		RunE: func(c *cobra.Command, args []string) error {
			hours, err := everyDay(staffed)
			if err != nil {
				return &wrongUse{err}
			}
			return backtestTo(c.Context(), c.OutOrStdout(), c.ErrOrStderr(), args[0], wanted{alarms, growth, forecasts, explain}, hours)
		},
	}
	c.Flags().StringVar(&alarms, "alarms", "-", "file for the alarms, - for standard output")
	c.Flags().StringVar(&growth, "growth", "", "file for the growth of every lot at 00, 06, 12 and 18:00 UTC; empty: none")
	c.Flags().StringVar(&forecasts, "forecasts", "", "file for harvest forecasts of 12:00 UTC of each day")
	c.Flags().StringVar(&explain, "explain", "", "print the evidence of this one lot instead: course, expected course, entries, alarms, forecasts")
	c.Flags().StringVar(&staffed, "staffed", "08:00-17:30", "hours in which people are at the shelf, each day, in the zone of the run; none: never")
	return c
}

func backtestTo(ctx context.Context, out, errs io.Writer, dir string, to wanted, staffed func(time.Time) bool) error {
	o := backtest.Options{Staffed: staffed, Growth: to.growth != "", Done: func(run string, done, all int) {
		_, _ = fmt.Fprintf(errs, "%d of %d  %s\n", done, all, run)
	}}
	o.Forecasts = to.forecasts != "" || to.explain != ""
	lots, err := byhour.References(dir)
	if err != nil {
		return fmt.Errorf("learn from reference lots: %w", err)
	}
	lib := expect.Learn(lots)
	o.Courses = &lib
	say(errs, lots, &lib)
	if to.explain != "" {
		e, err := backtest.Explain(dir, to.explain, o)
		if err != nil {
			return err
		}
		return e.Write(out)
	}
	folders, err := backtest.Folders(dir)
	if err != nil {
		return err
	}
	runs, err := backtest.All(ctx, folders, o)
	if err != nil {
		return err
	}
	if err := toFile(out, to.alarms, func(w io.Writer) error { return backtest.WriteAlarms(w, runs) }); err != nil {
		return fmt.Errorf("write the alarms: %w", err)
	}
	if to.growth != "" {
		if err := toFile(out, to.growth, func(w io.Writer) error { return backtest.WriteGrowth(w, runs) }); err != nil {
			return fmt.Errorf("write the growth: %w", err)
		}
	}
	if to.forecasts != "" {
		if err := toFile(out, to.forecasts, func(w io.Writer) error { return backtest.WriteForecasts(w, runs) }); err != nil {
			return fmt.Errorf("write the forecasts: %w", err)
		}
	}
	summary(errs, runs)
	return backtest.Report(errs, folders, runs)
}

// wanted names the files that results go to, - for standard output, and the
// one lot to explain instead.
type wanted struct{ alarms, growth, forecasts, explain string }

// toFile writes to a file, or to out where its name is -.
func toFile(out io.Writer, file string, write func(io.Writer) error) (err error) {
	if file == "-" {
		return write(out)
	}
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return write(f)
}

// say says what forecasts stand on.
func say(w io.Writer, lots []expect.Record, lib *expect.Library) {
	if len(lots) == 0 {
		_, _ = fmt.Fprintln(w, "no reference lots: courses and forecasts stand on the literature and each lot's own readings, and are wide")
		return
	}
	_, _ = fmt.Fprintf(w, "learnt from %d reference lots of %d strains and media\n", len(lots), len(lib.Strains))
}

// summary says what came of the runs, for a person.
func summary(w io.Writer, runs []backtest.Run) {
	var readings, alarms, calls, refused int
	for _, r := range runs {
		readings, alarms, calls, refused = readings+r.Readings, alarms+len(r.Alarms), calls+r.Calls, refused+len(r.Refused)
		for _, f := range r.Refused[:min(len(r.Refused), 3)] {
			_, _ = fmt.Fprintf(w, "%s: set aside: %s\n", r.Name, f.Detail)
		}
	}
	_, _ = fmt.Fprintf(w, "%d readings; alarms: %d, calls: %d", readings, alarms, calls)
	if refused > 0 {
		_, _ = fmt.Fprintf(w, ", %d pieces set aside", refused)
	}
	_, _ = fmt.Fprintln(w)
}

// everyDay reads hours such as 08:00-17:30.
func everyDay(text string) (func(time.Time) bool, error) {
	if text == "none" {
		return nil, nil
	}
	from, to, ok := strings.Cut(text, "-")
	begin, err1 := time.Parse("15:04", from)
	end, err2 := time.Parse("15:04", to)
	if !ok || err1 != nil || err2 != nil {
		return nil, fmt.Errorf("staffed hours %q: want HH:MM-HH:MM, or none", text)
	}
	a, b := minuteOf(begin), minuteOf(end)
	return func(t time.Time) bool {
		m := minuteOf(t)
		if a <= b {
			return a <= m && m < b
		}
		return m >= a || m < b // over midnight
	}, nil
}

func minuteOf(t time.Time) int { return t.Hour()*60 + t.Minute() }
