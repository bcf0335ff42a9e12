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

	"github.com/nightshelf/nightshelf/cmd/internal/backtest"
)

func newBacktest() *cobra.Command {
	var alarms, growth, staffed string
	c := &cobra.Command{
		Use:   "backtest FOLDER",
		Short: "put recorded runs through the watch",
		Long: `Put recorded runs through the same step that watches a room, in the readings'
own time and without looking ahead, and write the alarms it would have raised.
FOLDER is a run folder or holds run folders.

The alarms are CSV: run, vessel, class, raised_at (RFC 3339), call (alarms of
one call share it), quantity, since, what. The growth is CSV too: run, vessel,
at, per_day, low, high: over the 24 h before, with a 90 % interval.`,
		Example: "  nightshelf backtest last-season --alarms alarms.csv",
		Args:    exactly(1, "a folder"),
		RunE: func(c *cobra.Command, args []string) error {
			hours, err := everyDay(staffed)
			if err != nil {
				return &wrongUse{err}
			}
			return backtestTo(c.Context(), c.OutOrStdout(), c.ErrOrStderr(), args[0], alarms, growth, hours)
		},
	}
	c.Flags().StringVar(&alarms, "alarms", "-", "file for the alarms, - for standard output")
	c.Flags().StringVar(&growth, "growth", "", "file for the growth of every lot at 00, 06, 12 and 18:00 UTC; empty: none")
	c.Flags().StringVar(&staffed, "staffed", "08:00-17:30", "hours in which people are at the shelf, each day, in the zone of the run; none: never")
	return c
}

func backtestTo(ctx context.Context, out, errs io.Writer, dir, file, growth string, staffed func(time.Time) bool) (err error) {
	folders, err := backtest.Folders(dir)
	if err != nil {
		return err
	}
	runs, err := backtest.All(ctx, folders, backtest.Options{Staffed: staffed, Growth: growth != "", Done: func(run string, done, all int) {
		_, _ = fmt.Fprintf(errs, "%d of %d  %s\n", done, all, run)
	}})
	if err != nil {
		return err
	}
	if file != "-" {
		f, err := os.Create(file)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		out = f
	}
	if err := backtest.WriteAlarms(out, runs); err != nil {
		return fmt.Errorf("write the alarms: %w", err)
	}
	if growth != "" {
		if err := growthTo(growth, runs); err != nil {
			return err
		}
	}
	summary(errs, runs)
	return nil
}

func growthTo(file string, runs []backtest.Run) (err error) {
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if err := backtest.WriteGrowth(f, runs); err != nil {
		return fmt.Errorf("write the growth: %w", err)
	}
	return nil
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
