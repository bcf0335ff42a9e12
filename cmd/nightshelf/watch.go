package main

import (
	"fmt"
	"log/slog"
	"os"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/cmd/internal/daemon"
	"github.com/nightshelf/nightshelf/config"
)

func newWatch() *cobra.Command {
	var file, level string
	var asJSON bool
	c := &cobra.Command{
		Use:   "watch --config FILE",
		Short: "watch a room",
		Long: `Watch a room until a signal comes. What goes on is logged to standard error;
calls go to the phones of the configuration. SIGTERM or Ctrl-C stops cleanly:
what was taken is kept and acknowledged first. A second one cuts that short.`,
		Example: "  nightshelf watch --config room.yaml",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			log, err := logger(level, asJSON)
			if err != nil {
				return err
			}
			room, err := config.Load(file)
			if err != nil {
				return err
			}
			for _, w := range room.Warnings {
				log.Warn(w.Error())
			}
			d, err := daemon.New(c.Context(), daemon.Options{Config: room, Logger: log, Version: version()})
			if err != nil {
				return err
			}
			return d.Run(c.Context())
		},
	}
	c.Flags().StringVar(&file, "config", "room.yaml", "the room's configuration")
	c.Flags().StringVar(&level, "log", "info", "how much is logged: debug, info, warn or error")
	c.Flags().BoolVar(&asJSON, "json", false, "log as JSON")
	return c
}

func logger(level string, asJSON bool) (*slog.Logger, error) {
	var l slog.Level
	if err := l.UnmarshalText([]byte(level)); err != nil {
		return nil, fmt.Errorf("log level %q: want debug, info, warn or error", level)
	}
	o := &slog.HandlerOptions{Level: l}
	if asJSON {
		return slog.New(slog.NewJSONHandler(os.Stderr, o)), nil
	}
	return slog.New(slog.NewTextHandler(os.Stderr, o)), nil
}
