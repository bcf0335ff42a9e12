package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/config"
)

// The exit codes.
const (
	exitFine   = 0
	exitFailed = 1
	exitWrong  = 2 // wrong use
)

// execute runs the command line args and returns its exit code.
func execute(ctx context.Context, args []string, out, errs io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(out)
	root.SetErr(errs)
	err := root.ExecuteContext(ctx)
	var wrong *wrongUse
	faults, broken := config.Broken(err)
	switch {
	case err == nil:
		return exitFine
	case broken: // each with its place, as an editor can follow it
		_, _ = fmt.Fprintln(errs, faults.Error())
		return exitFailed
	case errors.As(err, &wrong):
		_, _ = fmt.Fprintf(errs, "nightshelf: %v\nnightshelf help shows what there is.\n", err)
		return exitWrong
	}
	_, _ = fmt.Fprintf(errs, "nightshelf: %v\n", err)
	return exitFailed
}

// wrongUse is an error of whoever typed the command.
type wrongUse struct{ error }

const usage = `Nightshelf watches cultures of microalgae overnight, and calls a phone when one
is in trouble.

Usage:

  nightshelf demo                        an invented shelf through one night
  nightshelf check room.yaml             what would be watched, or what is wrong with the file
  nightshelf watch --config room.yaml    watch a room until a signal comes
  nightshelf note C07 harvest 6L --refilled
                                         write an entry into the logbook
  nightshelf log C07                     show the logbook as it stands
  nightshelf export --config room.yaml --out week-09
                                         write a stretch of the record as plain files
  nightshelf label C07 --config room.yaml
                                         draw the label of a vessel
  nightshelf backtest FOLDER             put recorded runs through the watch
  nightshelf fit curves.csv              fit growth models to recorded curves
  nightshelf dose 18L --recipe f/2       how much of each nutrient, and what it carries
  nightshelf sterilise 18L --bleach 5% --by weight
                                         bleach, thiosulfate and every step to a new culture
  nightshelf simulate                    publish an invented room to a broker
  nightshelf version

Each command has more to say with --help. Exit codes: 0 fine, 1 failed, 2 wrong use.
`

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:           "nightshelf",
		Short:         "watches cultures of microalgae overnight",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return &wrongUse{fmt.Errorf("there is no command %q", args[0])}
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	usual := root.HelpFunc()
	root.SetHelpFunc(func(c *cobra.Command, args []string) {
		if c != root {
			usual(c, args)
			return
		}
		_, _ = fmt.Fprint(c.OutOrStdout(), usage)
	})
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return &wrongUse{err} })
	root.AddCommand(newWatch(), newCheck(), newDemo(), newSimulate(), newBacktest(), newExport(),
		newNote(), newLog(), newFit(), newDose(), newSterilise(), newLabel(), newVersion())
	return root
}
