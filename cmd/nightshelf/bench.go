package main

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/config"
)

// bench is what the commands at the bench have in common: which water, how
// much of it, and what the room's configuration says of both.
type bench struct {
	vessel, file string
	asJSON       bool
}

// place is where an amount goes.
type place struct {
	litres float64
	name   string         // of the vessel; empty where only a volume was said
	vessel *config.Vessel // nil without a name
	room   *config.Config // nil without a configuration
}

func (b *bench) flags(c *cobra.Command) {
	c.Flags().StringVar(&b.vessel, "vessel", "", "a vessel of the configuration, for its volume")
	c.Flags().StringVar(&b.file, "config", "", "the room's configuration")
	c.Flags().BoolVar(&b.asJSON, "json", false, "as JSON, with all digits")
	c.SetFlagErrorFunc(benchFlagError)
	c.Args = func(c *cobra.Command, args []string) error {
		if len(args) > 1 {
			return &wrongUse{fmt.Errorf("%s wants one volume, not %q: write 18L without a space, or in quotes", c.CommandPath(), strings.Join(args, " "))}
		}
		return nil
	}
}

var negative = regexp.MustCompile(`in (-[0-9.][^ ]*)$`)

// benchFlagError says of a negative amount what it is: to the reader of flags
// it looks like one of them.
func benchFlagError(_ *cobra.Command, err error) error {
	if m := negative.FindStringSubmatch(err.Error()); m != nil {
		return &wrongUse{fmt.Errorf("amount %q: must be above 0", m[1])}
	}
	return &wrongUse{err}
}

// place reads the volume, or takes that of a vessel.
func (b *bench) place(args []string) (place, error) {
	var p place
	if b.vessel != "" && b.file == "" {
		return p, &wrongUse{errors.New("--vessel needs --config, the room it stands in")}
	}
	if (len(args) == 1) == (b.vessel != "") {
		return p, &wrongUse{errors.New("say how much water, such as 18L, or which vessel with --vessel and --config")}
	}
	if b.file != "" {
		room, err := config.Load(b.file)
		if err != nil {
			return p, err
		}
		p.room = room
	}
	if b.vessel != "" {
		return p, p.find(b)
	}
	v, err := measure("volume", args[0], "18L or 250mL", litreUnits)
	if err != nil {
		return p, &wrongUse{err}
	}
	p.litres = v
	return p, nil
}

func (p *place) find(b *bench) error {
	for i, v := range p.room.Vessels {
		if v.Name != b.vessel {
			continue
		}
		if v.VolumeL == 0 {
			return fmt.Errorf("%s: vessel %q has no volume_l; say how much water instead, such as 18L", b.file, v.Name)
		}
		p.name, p.vessel, p.litres = v.Name, &p.room.Vessels[i], v.VolumeL
		return nil
	}
	return &wrongUse{fmt.Errorf("%s: there is no vessel %q", b.file, b.vessel)}
}

func (p *place) String() string {
	litres := strconv.FormatFloat(p.litres, 'g', 6, 64) + " L"
	if p.name != "" {
		return p.name + ", " + litres
	}
	return litres
}

// nonsense is what was wrong in the numbers, in one sentence each, without the
// steps on the way there.
func nonsense(err error) error {
	faults := plan.InputErrors(err)
	if len(faults) == 0 {
		return err
	}
	var all []string
	for _, f := range faults {
		if s := f.Error(); len(all) == 0 || all[len(all)-1] != s {
			all = append(all, s)
		}
	}
	return &wrongUse{errors.New(strings.Join(all, "; "))}
}
