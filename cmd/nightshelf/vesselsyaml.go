package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// vesselsYAML writes vessels as the section of a configuration.
func vesselsYAML(vessels []ingest.Vessel) string {
	var b strings.Builder
	b.WriteString("vessels:\n")
	for _, v := range vessels {
		fmt.Fprintf(&b, "  - name: %s\n", strconv.Quote(v.Name))
		line := func(known bool, format string, args ...any) {
			if known {
				fmt.Fprintf(&b, "    "+format+"\n", args...)
			}
		}
		line(v.Kind != "", "kind: %s", v.Kind)
		line(v.VolumeL > 0, "volume_l: %g", v.VolumeL)
		lamp := v.LightsOn >= 0 && v.LightHours > 0
		line(lamp, "lights_on: %q", clockText(v.LightsOn))
		line(lamp, "light_hours: %g", v.LightHours.Hours())
		line(lamp && v.LightShape != "", "light_shape: %s", v.LightShape)
		line(v.ParUmol > 0, "par_umol: %g", v.ParUmol)
		line(!math.IsNaN(v.TempC), "temp_c: %g", v.TempC)
		line(v.TempBand > 0, "temp_band_k: %g", v.TempBand)
		line(v.AirLpm > 0, "air_lpm: %g", v.AirLpm)
		line(v.Interval > 0, "interval: %s", v.Interval)
		line(v.HarvestOD > 0, "harvest_od: %g", v.HarvestOD)
		if len(v.Expects) > 0 {
			var fields []string
			for _, q := range v.Expects {
				fields = append(fields, q.Field())
			}
			line(true, "quantities: [%s]", strings.Join(fields, ", "))
		}
	}
	return b.String()
}

// clockText writes a time of day as HH:MM.
func clockText(d time.Duration) string {
	m := int(d / time.Minute)
	return fmt.Sprintf("%02d:%02d", m/60, m%60)
}
