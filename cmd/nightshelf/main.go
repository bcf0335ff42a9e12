// Command nightshelf watches cultures of microalgae overnight.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // small machines often have no time zones of their own
)

func main() {
	os.Exit(run())
}

// run turns signals into the end of a context and an error into an exit code.
// A second signal ends the program at once.
func run() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // from here on signals act as if nobody listened
	return execute(ctx, os.Args[1:], os.Stdout, os.Stderr)
}
