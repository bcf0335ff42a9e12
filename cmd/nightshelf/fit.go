package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/analysis/growth"
)

// fitOptions say how curves are fitted and what comes out.
type fitOptions struct {
	scale   string
	plot    string // an SVG file or a folder; empty for none
	asJSON  bool
	workers int
}

func newFit() *cobra.Command {
	var o fitOptions
	c := &cobra.Command{
		Use:   "fit FILE.csv",
		Short: "fit growth models to recorded curves",
		Long: `Fit every growth model to every curve of a file and say which one the data speak
for, or that they speak for none. FILE holds the columns curve_id, t_days and
value (od above blank, cells/mL, whatever grows); others are ignored, - is
standard input.

One CSV row a curve and model, the best first. course is what the curve does:
growing, dying, level, or unclear where too little tells. start and plateau are
natural logarithms of the value. lag_days counts from first_day, the first point
used. Rates are not the same number in every model: steepest_per_day is the
steepest slope of ln N while watched and can be compared; potential_per_day is
the parameter of the logistic and of Baranyi and Roberts, the rate without any
plateau. _se are standard errors, _low and _high the ends of 95 % intervals, of
the chosen fit of a culture that grows or dies.

A row that cannot be read is named on standard error, with line and column; all
others are fitted, and the exit code is 1.`,
		Example: "  nightshelf fit curves.csv > fits.csv\n  nightshelf fit curves.csv --json --plot pictures/",
		Args:    exactly(1, "a CSV file"),
		RunE: func(c *cobra.Command, args []string) error {
			setting, err := o.setting()
			if err != nil {
				return &wrongUse{err}
			}
			return fitFile(c.Context(), c.OutOrStdout(), c.ErrOrStderr(), args[0], setting, o)
		},
	}
	c.Flags().BoolVar(&o.asJSON, "json", false, "JSON instead of CSV, with all digits")
	c.Flags().StringVar(&o.plot, "plot", "", "draw the curves: an SVG file for one, a folder for several")
	c.Flags().StringVar(&o.scale, "errors", "learn", "of the values: learn how they grow with density, or relative: the same part of each (values of zero and less are left out)")
	c.Flags().IntVar(&o.workers, "workers", runtime.GOMAXPROCS(0), "curves fitted at a time; the result does not depend on it")
	return c
}

func (o fitOptions) setting() (growth.Setting, error) {
	s := growth.Setting{Scale: growth.Natural, Learn: true}
	switch {
	case o.workers < 1:
		return s, fmt.Errorf("workers %d: must be 1 or more", o.workers)
	case o.scale == "relative":
		s.Scale = growth.Logarithm
	case o.scale != "learn":
		return s, fmt.Errorf("errors %q: must be learn or relative", o.scale)
	}
	return s, nil
}

func fitFile(ctx context.Context, out, errs io.Writer, file string, s growth.Setting, o fitOptions) error {
	curves, faults, err := readCurveFile(file)
	if err != nil {
		return err
	}
	for _, f := range faults {
		_, _ = fmt.Fprintln(errs, f)
	}
	if len(curves) > 1 && strings.HasSuffix(o.plot, ".svg") {
		return &wrongUse{fmt.Errorf("plot %q: the file holds %d curves, so name a folder", o.plot, len(curves))}
	}
	fitted, err := fitAll(ctx, curves, s, o.workers, progress(errs, len(curves)))
	if err != nil {
		return err
	}
	write := fitCSV
	if o.asJSON {
		write = fitJSON
	}
	if err := write(out, fitted); err != nil {
		return fmt.Errorf("write the fits: %w", err)
	}
	if o.plot != "" {
		if err := plotAll(o.plot, fitted); err != nil {
			return err
		}
	}
	if len(faults) > 0 {
		return fmt.Errorf("%s: %d faults; everything else was fitted", file, len(faults))
	}
	return nil
}

// readCurveFile reads a file or, for -, standard input.
func readCurveFile(file string) (curves []namedCurve, faults []string, err error) {
	var data []byte
	if file == "-" {
		file = "standard input"
		data, err = io.ReadAll(os.Stdin)
	} else {
		data, err = os.ReadFile(file)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("read the curves: %w", err)
	}
	curves, faults, err = readCurves(file, data)
	if err == nil && len(curves) == 0 && len(faults) == 0 {
		err = errors.New("there is no row under the header")
	}
	if err != nil {
		return nil, nil, fmt.Errorf("read the curves from %s: %w", file, err)
	}
	return curves, faults, nil
}
