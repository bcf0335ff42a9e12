package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/cmd/internal/daemon"
	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// noted is what was typed behind note, sorted out.
type noted struct {
	file      string
	overrule  string // who answers for an entry in spite of doubts
	asJSON    bool
	help      bool
	words     []string // the entry itself
	wrongFlag string
}

func newNote() *cobra.Command {
	return &cobra.Command{
		Use:   "note VESSEL KIND [AMOUNT] [--NAME VALUE ...]",
		Short: "write an entry into the logbook",
		Long: `Write down what was done at the shelf. Without --at it happened now; --at takes 17:40
(of today, or yesterday if that is still to come), "2026-11-24 17:40" or RFC 3339. Amounts have
their unit behind them: 6L, 500ml, 2.1e6/ml. What speaks against an entry is asked first;
--overrule NAME writes it all the same, and keeps who answers for it. An entry that was
written wrongly is corrected or withdrawn by its id, which log shows; nothing is erased.

If a daemon watches the room, the entry goes to it; if none does, into the database, where
it is found when the watch starts.`,
		Example: `  nightshelf note C07 harvest 6L --refilled --at 17:40
  nightshelf note C08 chlorine_test none --method strip
  nightshelf note C08 inoculate 1.8L --lot TI-12 --donor C07 --taken-out 1.8L --volume 18L
  nightshelf note C07 correct 3fa2c1 --volume 5L
  nightshelf note C07 withdraw 3fa2c1`,
		DisableFlagParsing: true, // the names of its flags are those of the fields
		RunE: func(c *cobra.Command, args []string) error {
			n := sortOut(args)
			switch {
			case n.help:
				return noteHelp(c, n)
			case n.wrongFlag != "":
				return &wrongUse{errors.New(n.wrongFlag)}
			case len(n.words) < 2:
				return &wrongUse{errors.New(`an entry needs a vessel and what was done, such as: nightshelf note C07 harvest 6L; "nightshelf note --help" lists what there is`)}
			}
			room, err := config.Load(n.file)
			if err != nil {
				return err
			}
			return note(c.Context(), c.OutOrStdout(), c.ErrOrStderr(), room, n)
		},
	}
}

// sortOut takes out of the words what is not the entry's.
func sortOut(args []string) noted {
	n := noted{file: "room.yaml"}
	for i := 0; i < len(args); i++ {
		name, value, joined := strings.Cut(args[i], "=")
		into := map[string]*string{"--config": &n.file, "--overrule": &n.overrule}[name]
		switch {
		case name == "--help" || name == "-h":
			n.help = true
		case name == "--json":
			n.asJSON = true
		case into == nil:
			n.words = append(n.words, args[i])
		case joined:
			*into = value
		case i+1 < len(args):
			i++
			*into = args[i]
		default:
			n.wrongFlag = name + " wants a value"
		}
	}
	return n
}

// noteHelp lists the kinds, or the fields of the one that was named.
func noteHelp(c *cobra.Command, n noted) error {
	w := c.OutOrStdout()
	for _, word := range n.words {
		kind := ingest.Kind(strings.ReplaceAll(word, "-", "_"))
		form, ok := logbook.FormOf(kind)
		if !ok {
			continue
		}
		_, err := fmt.Fprintf(w, "nightshelf note VESSEL %s\n\n%s", kind, fieldList(append(form.Fields, logbook.Common()...)))
		return err
	}
	if _, err := fmt.Fprintf(w, "%s\n\nUsage:\n  nightshelf %s\n\nExamples:\n%s\n\nKinds:\n", c.Long, c.Use, c.Example); err != nil {
		return err
	}
	for _, k := range ingest.Kinds {
		form, _ := logbook.FormOf(k)
		if _, err := fmt.Fprintf(w, "  %-14s %s\n", k, form.Title); err != nil {
			return err
		}
	}
	_, err := fmt.Fprint(w, "\nnightshelf note KIND --help lists what a kind can say. Also: --config FILE, --overrule NAME, --json, --who NAME (or NIGHTSHELF_WHO).\n")
	return err
}

func fieldList(fields []logbook.Field) string {
	var b strings.Builder
	for _, f := range fields {
		if f.Name == logbook.OverruledBy || f.Name == "overruled" {
			continue
		}
		says := f.Title
		if f.Form == 's' && len(f.Words) > 0 {
			says += ": " + strings.Join(f.Words, ", ")
		}
		if f.Must {
			says += " (must be said)"
		}
		fmt.Fprintf(&b, "  --%-22s %s\n", strings.ReplaceAll(f.Name, "_", "-"), says)
	}
	fmt.Fprintf(&b, "  --%-22s when it happened\n  --%-22s who wrote it\n", "at", "who")
	return b.String()
}

// note reads an entry and has it written.
func note(ctx context.Context, out, errs io.Writer, room *config.Config, n noted) error {
	now := time.Now()
	e, err := logbook.Parse(n.words, now, room.Zone)
	if err != nil {
		return &wrongUse{oneLine(err)}
	}
	if e.Who == "" {
		e.Who = os.Getenv("NIGHTSHELF_WHO")
	}
	kept, doubts, err := write(ctx, room, e, n.overrule, now)
	switch {
	case err != nil:
		return oneLine(err)
	case len(doubts) > 0:
		for _, d := range doubts {
			_, _ = fmt.Fprintf(errs, "%s: %s\n", d.Code, d.Says)
		}
		return errors.New("asked first, and nothing was written; if it is so all the same, add --overrule and your name")
	case n.asJSON:
		return writeJSON(out, kept)
	}
	_, err = fmt.Fprintf(out, "%s %s  %s  [%s]\n", kept.At.In(room.Zone).Format("2006-01-02 15:04 MST"), kept.Vessel, kept.Sentence, kept.ID[:8])
	return err
}

// write gives an entry to the daemon that watches the room, or where none
// does, to the room's database.
func write(ctx context.Context, room *config.Config, e ingest.Entry, overrule string, now time.Time) (page.APIEntry, []page.APIDoubt, error) {
	kept, doubts, err := post(ctx, room, e, overrule)
	if !errors.Is(err, errNobody) {
		return kept, doubts, err
	}
	nobody := err
	written, asked, err := daemon.WriteOffline(ctx, room, e, overrule, now)
	if errors.Is(err, ingest.ErrLocked) {
		return kept, nil, fmt.Errorf("a daemon holds %s and does not answer at %s: %w", room.Data, room.Listen, nobody)
	}
	for _, d := range asked {
		doubts = append(doubts, page.APIDoubt{Code: d.Code, Says: d.Says})
	}
	if err != nil || len(doubts) > 0 {
		return kept, doubts, err
	}
	return page.EntryOf(written), nil, nil
}

// oneLine joins the faults of an error by semicolons.
func oneLine(err error) error {
	lines := slices.DeleteFunc(strings.Split(err.Error(), "\n"), func(s string) bool { return s == "" })
	if len(lines) < 2 {
		return err
	}
	return errors.New(strings.Join(lines, "; "))
}
