package main

import (
	"fmt"
	"io"
	"strings"

	"gopkg.in/yaml.v3"

	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
)

// vesselWords is a vessel as a configuration writes it.
type vesselWords struct {
	Name       string  `yaml:"name"`
	Kind       string  `yaml:"kind,omitempty"`
	VolumeL    float64 `yaml:"volume_l"`
	LightsOn   string  `yaml:"lights_on"`
	LightHours float64 `yaml:"light_hours"`
	LightShape string  `yaml:"light_shape"`
	ParUmol    float64 `yaml:"par_umol"`
	TempC      float64 `yaml:"temp_c"`
	TempBandK  float64 `yaml:"temp_band_k"`
	AirLpm     float64 `yaml:"air_lpm"`
	Interval   string  `yaml:"interval"`
	HarvestOD  float64 `yaml:"harvest_od"`
}

func wordsOf(v *ingest.Vessel) vesselWords {
	return vesselWords{Name: v.Name, Kind: v.Kind, VolumeL: v.VolumeL, LightHours: v.LightHours.Hours(), LightShape: string(v.LightShape),
		LightsOn: config.ClockTime(v.LightsOn),
		ParUmol:  v.ParUmol, TempC: v.TempC, TempBandK: v.TempBand, AirLpm: v.AirLpm, Interval: v.Interval.String(), HarvestOD: v.HarvestOD}
}

// printVessels prints the part of a configuration that describes the room.
func printVessels(out io.Writer, plan *simulate.Plan) error {
	zone := plan.Start.Location().String()
	if _, err := fmt.Fprintf(out, "# A simulated room. Its readings bear the time of its own clock.\nzone: %s\nclock: readings\n", zone); err != nil {
		return err
	}
	return printSection(out, plan.Vessels())
}

// printSection prints vessels as the section of a configuration.
func printSection(out io.Writer, vessels []ingest.Vessel) error {
	if _, err := fmt.Fprintln(out, "vessels:"); err != nil {
		return err
	}
	for _, v := range vessels {
		var line strings.Builder
		node := &yaml.Node{}
		if err := node.Encode(wordsOf(&v)); err != nil {
			return fmt.Errorf("print vessel %q: %w", v.Name, err)
		}
		node.Style = yaml.FlowStyle
		if err := yaml.NewEncoder(&line).Encode(node); err != nil {
			return fmt.Errorf("print vessel %q: %w", v.Name, err)
		}
		if _, err := fmt.Fprintf(out, "  - %s\n", strings.Join(strings.Fields(line.String()), " ")); err != nil {
			return err
		}
	}
	return nil
}
