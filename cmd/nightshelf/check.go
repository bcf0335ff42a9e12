package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/alerts/webhook"
	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
	"github.com/nightshelf/nightshelf/config"
)

func newCheck() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "check FILE",
		Short: "show what would be watched, or what is wrong with the file",
		Long: `Read a room's configuration and show what would be watched. Every fault is
printed with file, line and column, and the exit code is 1.`,
		Example: "  nightshelf check room.yaml",
		Args:    exactly(1, "a configuration file"),
		RunE: func(c *cobra.Command, args []string) error {
			room, err := config.Load(args[0])
			if err != nil {
				return err
			}
			for _, w := range room.Warnings {
				_, _ = fmt.Fprintln(c.ErrOrStderr(), "warning:", w.Error())
			}
			for _, p := range room.Phones {
				if _, err := webhook.ParseBody(p.Name, p.Body); p.Body != "" && err != nil {
					return fmt.Errorf("%s: phone %q: %w", args[0], p.Name, err)
				}
			}
			for _, r := range room.Recipes {
				if err := amounts.Recipe(r).Check(); err != nil {
					return fmt.Errorf("%s: %w", args[0], err)
				}
			}
			if asJSON {
				return checkJSON(c.OutOrStdout(), room)
			}
			return checkText(c.OutOrStdout(), room)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

// checked is a configuration as check --json prints it; secrets are left out.
type checked struct {
	Room     string   `json:"room"`
	Zone     string   `json:"zone"`
	Clock    string   `json:"clock"`
	Lateness string   `json:"lateness"`
	Data     string   `json:"data"`
	Listen   string   `json:"listen"`
	Broker   string   `json:"broker"`
	Topics   []string `json:"topics"`
	Staffed  []string `json:"staffed"`
	Phones   []string `json:"phones"`
	// References are the reference lots named, and the folder of others.
	References    []string        `json:"reference_lots"`
	ReferenceRuns string          `json:"reference_runs,omitempty"`
	FalseCalls    float64         `json:"false_calls_a_month"`
	Vessels       []checkedVessel `json:"vessels"`
}

type checkedVessel struct {
	Name       string   `json:"name"`
	Kind       string   `json:"kind"`
	VolumeL    float64  `json:"volume_l,omitempty"`
	Lamp       string   `json:"lamp,omitempty"`
	ParUmol    float64  `json:"par_umol,omitempty"`
	TempC      *float64 `json:"temp_c,omitempty"`
	TempBandK  float64  `json:"temp_band_k,omitempty"`
	AirLpm     float64  `json:"air_lpm,omitempty"`
	ByHand     bool     `json:"by_hand,omitempty"`
	Interval   string   `json:"interval,omitempty"`
	HarvestOD  float64  `json:"harvest_od,omitempty"`
	Quantities []string `json:"quantities,omitempty"`
}

func checkOf(c *config.Config) checked {
	out := checked{Room: c.Room, Zone: c.Zone.String(), Clock: string(c.Clock), Lateness: c.Lateness.String(), Data: c.Data, Listen: c.Listen,
		Broker: c.Broker.URL, Topics: c.Broker.Topics, Staffed: []string{}, Phones: []string{},
		References: append([]string{}, c.ReferenceLots...), ReferenceRuns: c.ReferenceRuns, FalseCalls: c.FalseCallsAMonth}
	if out.Broker == "" {
		out.Broker = "our own on " + c.Broker.Embedded
	}
	for _, s := range c.Staffed {
		out.Staffed = append(out.Staffed, s.String())
	}
	for _, p := range c.Phones {
		out.Phones = append(out.Phones, p.Name)
	}
	for _, v := range c.Vessels {
		w := checkedVessel{Name: v.Name, Kind: v.Kind, VolumeL: v.VolumeL, ParUmol: v.ParUmol, AirLpm: v.AirLpm, HarvestOD: v.HarvestOD, ByHand: v.ByHand}
		if v.LightsOn >= 0 && v.LightHours > 0 {
			w.Lamp = fmt.Sprintf("%s for %g h, %s", config.ClockTime(v.LightsOn), v.LightHours.Hours(), v.LightShape)
		}
		if !math.IsNaN(v.TempC) {
			w.TempC, w.TempBandK = &v.TempC, v.TempBandK
		}
		if v.Interval > 0 {
			w.Interval = strings.Replace(v.Interval.String(), "m0s", "m", 1)
		}
		for _, q := range v.Quantities {
			w.Quantities = append(w.Quantities, q.String())
		}
		out.Vessels = append(out.Vessels, w)
	}
	return out
}

func checkJSON(w io.Writer, c *config.Config) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(checkOf(c))
}

func checkText(out io.Writer, c *config.Config) error {
	k := checkOf(c)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	line := func(format string, args ...any) { _, _ = fmt.Fprintf(w, format+"\n", args...) } // Flush tells
	line("room\t%s, %s", k.Room, k.Zone)
	line("staffed\t%s", orNone(k.Staffed, "never: nobody is ever there"))
	line("readings\tfrom %s, topics %s", k.Broker, strings.Join(k.Topics, " "))
	line("page\thttp://%s", k.Listen)
	line("database\t%s", k.Data)
	line("calls\tto %s", orNone(k.Phones, "nobody: alarms show on the page only"))
	line("courses\tfrom %s; at most %g false calls a month", references(k), k.FalseCalls)
	if k.Clock == string(config.Readings) {
		line("clock\tfollows the readings: for recorded weeks")
	}
	line("")
	line("vessel\tkind\tvolume\tlamp\tlight\ttemperature\tair\tevery\tharvest at")
	for _, v := range k.Vessels {
		temp := "not known"
		if v.TempC != nil {
			temp = fmt.Sprintf("%g +- %g degC", *v.TempC, v.TempBandK)
		}
		line("%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s", v.Name, v.Kind, known(v.VolumeL, "L"), orUnknown(v.Lamp), known(v.ParUmol, "umol"), temp,
			known(v.AirLpm, "L/min"), every(v), known(v.HarvestOD, "od"))
	}
	return w.Flush()
}

// references says what lots are held against.
func references(k checked) string {
	var from []string
	if n := len(k.References); n > 0 {
		from = append(from, "the reference lots "+strings.Join(k.References, ", "))
	}
	if k.ReferenceRuns != "" {
		from = append(from, "the runs in "+k.ReferenceRuns)
	}
	if len(from) == 0 {
		return "the literature alone, with wide bounds"
	}
	return strings.Join(from, " and ")
}

// every is how often a vessel's sensors are heard.
func every(v checkedVessel) string {
	if v.ByHand && v.Interval == "" {
		return "counted by hand"
	}
	return orUnknown(v.Interval)
}

func orNone(all []string, none string) string {
	if len(all) == 0 {
		return none
	}
	return strings.Join(all, "; ")
}

func orUnknown(s string) string {
	if s == "" {
		return "not known"
	}
	return s
}

func known(v float64, unit string) string {
	if v == 0 {
		return "not known"
	}
	return fmt.Sprintf("%g %s", v, unit)
}
