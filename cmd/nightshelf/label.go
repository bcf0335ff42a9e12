package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/cmd/internal/label"
	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/config"
)

// labelOptions says which labels are wanted, and how.
type labelOptions struct {
	vessel string // empty with all
	lot    string // of the vessel; empty: the newest
	all    bool
	sheet  bool
	size   label.Size
	out    string // file; empty: standard output
}

func newLabel() *cobra.Command {
	var o labelOptions
	var file, size string
	c := &cobra.Command{
		Use:   "label VESSEL --config FILE",
		Short: "draw the label of a vessel, or of all that hold a lot",
		Long: `Draw the label of a vessel, with a code that leads a phone to its page: one
label as SVG, or with --sheet an HTML page that prints on A4 or Letter (print it
at 100 %, not fitted to the page). What stands on it comes from the newest
inoculation in the room's database, which is only read, also while the daemon
is watching.`,
		Example: "  nightshelf label C07 --config room.yaml --out C07.svg\n  nightshelf label --all --size 62x29 --out labels.html",
		RunE: func(c *cobra.Command, args []string) (err error) {
			if o.size, err = label.ParseSize(size); err != nil {
				return &wrongUse{err}
			}
			if err := o.take(args); err != nil {
				return &wrongUse{err}
			}
			room, err := config.Load(file)
			if err != nil {
				return err
			}
			return drawLabels(c.Context(), c.OutOrStdout(), c.ErrOrStderr(), room, o)
		},
	}
	c.Flags().StringVar(&file, "config", "room.yaml", "the room's configuration")
	c.Flags().StringVar(&o.lot, "lot", "", "an earlier lot of the vessel instead of the one it holds")
	c.Flags().StringVar(&size, "size", label.Carboy.String(), "width by height in millimetres")
	c.Flags().StringVar(&o.out, "out", "", "file to write, which must not be there yet; standard output if left out")
	c.Flags().BoolVar(&o.sheet, "sheet", false, "an HTML page to print instead of SVG")
	c.Flags().BoolVar(&o.all, "all", false, "a sheet of all vessels that hold a lot")
	return c
}

// take reads the vessel's name and checks that what is asked for goes together.
func (o *labelOptions) take(args []string) error {
	switch {
	case o.all && (len(args) > 0 || o.lot != ""):
		return errors.New("--all is for every vessel; leave the vessel and --lot out")
	case !o.all && len(args) != 1:
		return errors.New("name one vessel, or ask for --all")
	case o.all:
		o.sheet = true
	default:
		o.vessel = args[0]
	}
	return nil
}

func drawLabels(ctx context.Context, out, errs io.Writer, room *config.Config, o labelOptions) error {
	labels, err := readLabels(ctx, room, o)
	if err != nil {
		return err
	}
	base, why := pageAddress(room)
	for i := range labels {
		labels[i].Room, labels[i].Zone = room.Room, room.Zone
		if base != "" {
			labels[i].URL = base + page.VesselPath(labels[i].Vessel)
		}
	}
	var drawn []byte
	if o.sheet {
		drawn, err = label.Sheet(labels, o.size)
	} else {
		drawn, err = label.SVG(labels[0], o.size)
	}
	if err != nil {
		return err
	}
	if why != "" {
		_, _ = fmt.Fprintf(errs, "nightshelf: no code on the label: %s; set public_url in %s\n", why, room.File)
	}
	if o.out == "" {
		_, err = out.Write(drawn)
		return err
	}
	return writeNew(o.out, drawn)
}

// writeNew writes a file that is not there yet.
func writeNew(name string, data []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write the label: %w", err)
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(fmt.Errorf("write the label to %q: %w", name, err), os.Remove(name))
	}
	return nil
}

// readLabels returns the labels that are asked for, in the order of the shelf.
func readLabels(ctx context.Context, room *config.Config, o labelOptions) (labels []label.Label, err error) {
	var names []string
	for _, v := range room.Vessels {
		if o.all || v.Name == o.vessel {
			names = append(names, v.Name)
		}
	}
	if len(names) == 0 {
		return nil, fmt.Errorf("no vessel named %q in %s", o.vessel, room.File)
	}
	book, err := readBook(ctx, room)
	if err != nil {
		return nil, err
	}
	if o.lot != "" {
		l, err := label.OfLot(book, o.vessel, o.lot)
		return []label.Label{l}, err
	}
	for _, name := range names {
		if l := label.Of(book, name); !o.all || !l.Standing() {
			labels = append(labels, l)
		}
	}
	switch {
	case len(labels) == 0:
		return nil, errors.New("no vessel holds a lot")
	case !o.all && labels[0].Standing() && labels[0].Filled.IsZero():
		return nil, fmt.Errorf("vessel %q holds no lot, and no filling of it is entered; an earlier lot's label is drawn with --lot", o.vessel)
	}
	return labels, nil
}
