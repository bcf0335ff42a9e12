package main

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/alerts/webhook"
	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/cmd/internal/daemon"
	"github.com/nightshelf/nightshelf/config"
)

type demoOptions struct {
	lasts time.Duration // ends by itself after this; 0: never
	night time.Duration // how long the night takes
	seed  uint64
	keep  string // folder to keep everything in; empty: a temporary one
}

func newDemo() *cobra.Command {
	var o demoOptions
	c := &cobra.Command{
		Use:   "demo",
		Short: "an invented shelf goes through one night while you watch",
		Long: `An invented shelf of cultures goes through one night in a minute or two, through
the broker, the store, the judge and the page that a real room would use. It
shows faults as they happen and the calls that go out, as a phone would get
them. Nothing is installed, and nothing is left behind.`,
		Example: "  nightshelf demo\n  nightshelf demo --for 60s",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return demo(c.Context(), c.OutOrStdout(), o)
		},
	}
	c.Flags().DurationVar(&o.lasts, "for", 0, "end by itself after this time (the night is fitted into it)")
	c.Flags().DurationVar(&o.night, "night", 90*time.Second, "how long the night takes")
	c.Flags().Uint64Var(&o.seed, "seed", 1, "another seed, another shelf")
	c.Flags().StringVar(&o.keep, "keep", "", "keep the configuration and the database in this folder")
	return c
}

// demo runs the whole daemon on an invented shelf.
func demo(ctx context.Context, out io.Writer, o demoOptions) error {
	if o.lasts > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, o.lasts)
		defer cancel()
		// A few seconds go to the days before the night and to the end.
		o.night = min(o.night, max(o.lasts*7/10, 5*time.Second))
	}
	dir, err := demoFolder(o.keep)
	if err != nil {
		return err
	}
	if o.keep == "" {
		defer func() { _ = os.RemoveAll(dir) }()
	}
	show := &narrator{out: out}
	phone, err := startPhone(show)
	if err != nil {
		return err
	}
	defer phone.Stop()
	plan := simulate.Demo(o.seed, eveningBefore(time.Now()))
	show.zone = plan.Places[0].Vessel.Zone
	c, err := demoConfig(dir, plan, phone)
	if err != nil {
		return err
	}
	d, err := daemon.New(ctx, daemon.Options{Config: c, Logger: slog.New(slog.NewTextHandler(io.Discard, nil)), Version: version()})
	if err != nil {
		return err
	}
	running, stop := context.WithCancel(context.WithoutCancel(ctx))
	ended := make(chan error, 1)
	if err := d.Start(running); err != nil {
		stop()
		return errors.Join(err, d.Stop(context.WithoutCancel(ctx)))
	}
	go func() {
		ended <- shelfNight(ctx, show, d, plan, o)
	}()
	err = <-ended
	stop()
	closing, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	return errors.Join(err, d.Stop(closing))
}

func demoFolder(keep string) (string, error) {
	if keep == "" {
		return os.MkdirTemp("", "nightshelf-demo-")
	}
	if err := os.MkdirAll(keep, 0o700); err != nil {
		return "", fmt.Errorf("keep the demo in %q: %w", keep, err)
	}
	return keep, nil
}

// eveningBefore is five in the afternoon of the day before, so that the night
// ends this morning.
func eveningBefore(t time.Time) time.Time {
	t = t.UTC().AddDate(0, 0, -1)
	return time.Date(t.Year(), t.Month(), t.Day(), 17, 0, 0, 0, time.UTC)
}

// demoConfig writes a configuration file as a person would and reads it back.
func demoConfig(dir string, plan simulate.Plan, p *phone) (*config.Config, error) {
	key := make([]byte, 32)
	_, _ = rand.Read(key) // never fails
	secret := "whsec_" + base64.StdEncoding.EncodeToString(key)
	if err := os.WriteFile(filepath.Join(dir, "secret"), []byte(secret), 0o600); err != nil {
		return nil, err
	}
	var err error
	if p.secret, err = webhook.ParseSecret(secret); err != nil {
		return nil, err
	}
	var text strings.Builder
	_, _ = fmt.Fprintf(&text, `room: Demo shelf (invented)
zone: %s
clock: readings
lateness: 1h
listen: 127.0.0.1:0
data: demo.db
staffed:
  - {days: daily, from: "08:00", to: "17:30"}
broker:
  embedded: 127.0.0.1:0
phones:
  - {name: demo phone, url: %q, secret_file: secret, allow_private: true}
`, plan.Places[0].Vessel.Zone, p.URL())
	if err := printSection(&text, plan.Vessels()); err != nil {
		return nil, err
	}
	file := filepath.Join(dir, "room.yaml")
	if err := os.WriteFile(file, []byte(text.String()), 0o600); err != nil {
		return nil, err
	}
	return config.Load(file)
}
