package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
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
	switch {
	case err == nil:
		return exitFine
	case errors.As(err, &wrong):
		_, _ = fmt.Fprintf(errs, "nightshelf: %v\nnightshelf help shows what there is.\n", err)
		return exitWrong
	}
	_, _ = fmt.Fprintf(errs, "nightshelf: %v\n", err)
	return exitFailed
}

// wrongUse is an error of whoever typed the command.
type wrongUse struct{ error }

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:           "nightshelf",
		Short:         "watches cultures of microalgae overnight",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return &wrongUse{err} })
	root.AddCommand(newWatch(), newDemo(), newSimulate(), newBacktest(), newExport())
	return root
}
