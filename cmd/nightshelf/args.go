package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

// exactly asks for n arguments, named by what.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) != n {
			return &wrongUse{fmt.Errorf("%s wants %s: %s", c.CommandPath(), what, c.UseLine())}
		}
		return nil
	}
}
