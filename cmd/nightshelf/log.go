package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/cmd/internal/daemon"
	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
	"github.com/nightshelf/nightshelf/ingest/store"
)

func newLog() *cobra.Command {
	var file, from, to string
	var asJSON bool
	c := &cobra.Command{
		Use:   "log [VESSEL]",
		Short: "show the logbook as it stands",
		Long: `Show what was written down, of one vessel or of all, in the order in which it happened, with the
id of each entry by which it can be corrected or withdrawn. It only reads, also beside a daemon.`,
		Example: "  nightshelf log C07 --config room.yaml --from 2026-11-20",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			room, err := config.Load(file)
			if err != nil {
				return err
			}
			begin, err1 := moment(from, room.Zone, time.Time{})
			end, err2 := moment(to, room.Zone, time.Time{})
			if err := errors.Join(err1, err2); err != nil {
				return &wrongUse{err}
			}
			vessel := ""
			if len(args) > 0 {
				vessel = args[0]
			}
			return showLog(c.Context(), c.OutOrStdout(), room, vessel, begin, end, asJSON)
		},
	}
	c.Flags().StringVar(&file, "config", "room.yaml", "the room's configuration")
	c.Flags().StringVar(&from, "from", "", "first day or moment; all from the start if left out")
	c.Flags().StringVar(&to, "to", "", "day or moment to stop before")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON, as the API says it")
	return c
}

// readBook folds the room's logbook from the database, which is only read.
func readBook(ctx context.Context, room *config.Config) (_ *logbook.Book, err error) {
	db, err := store.OpenToRead(ctx, room.Data)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	all, err := db.EntriesWritten(ctx, "", time.Time{}, time.Time{})
	if err != nil {
		return nil, err
	}
	b := logbook.New(daemon.Vessels(room))
	b.Add(all...)
	return b, nil
}

func showLog(ctx context.Context, out io.Writer, room *config.Config, vessel string, from, to time.Time, asJSON bool) error {
	b, err := readBook(ctx, room)
	if err != nil {
		return err
	}
	noted := b.Entries(vessel, from, to)
	if asJSON {
		list := make([]page.APIEntry, 0, len(noted))
		for _, n := range noted {
			list = append(list, page.NotedOf(n))
		}
		return writeJSON(out, list)
	}
	for _, n := range noted {
		line := fmt.Sprintf("%s %s  %s", n.At.In(room.Zone).Format("2006-01-02 15:04 MST"), n.Vessel, logbook.Sentence(n.Entry))
		if n.Who != "" {
			line += "; " + n.Who
		}
		for _, c := range n.Corrected {
			line += "; corrected by " + whoOf(c)
		}
		if n.Withdrawn != nil {
			line += "; WITHDRAWN by " + whoOf(*n.Withdrawn)
		}
		if by := n.Str(logbook.OverruledBy); by != "" {
			line += "; overruled by " + by + ": " + n.Str("overruled")
		}
		if _, err := fmt.Fprintf(out, "%s  [%s]\n", line, n.ID[:8]); err != nil {
			return err
		}
	}
	return nil
}

func whoOf(e ingest.Entry) string { return cmp.Or(e.Who, "somebody") }
