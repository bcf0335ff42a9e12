package runfolder

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

var vesselColumns = []string{"vessel", "volume_l", "zone", "lights_on", "light_hours", "light_shape", "par_umol", "temp_c", "air_lpm", "interval_s",
	"kind", "temp_band_k", "harvest_od", "expects"}

func vesselRows(all []ingest.Vessel) [][]string {
	rows := [][]string{vesselColumns}
	for _, v := range all {
		rows = append(rows, []string{v.Name, known(v.VolumeL), zoneName(v.Zone), clockTime(v.LightsOn), known(v.LightHours.Hours()),
			string(v.LightShape), known(v.ParUmol), number(v.TempC), known(v.AirLpm), known(v.Interval.Seconds()),
			v.Kind, known(v.TempBand), known(v.HarvestOD), fields(v.Expects)})
	}
	return rows
}

var lotColumns = []string{"lot", "vessel", "strain", "medium", "role", "inoculated_at", "inoculum_l", "harvest_od", "ended_at", "donor"}

func lotRows(all []ingest.Lot) [][]string {
	rows := [][]string{lotColumns}
	for _, l := range all {
		rows = append(rows, []string{l.Name, l.Vessel, l.Strain, l.Medium, string(l.Role), instant(l.Inoculated), known(l.InoculumL),
			known(l.HarvestOD), instant(l.Ended), l.Donor})
	}
	return rows
}

// known leaves the cell empty for zero, which means unknown.
func known(v float64) string {
	if v == 0 {
		return ""
	}
	return number(v)
}

func number(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func zoneName(zone *time.Location) string {
	if zone == nil {
		return time.UTC.String()
	}
	return zone.String()
}

func clockTime(d time.Duration) string {
	if d < 0 {
		return ""
	}
	return fmt.Sprintf("%02d:%02d", int(d.Hours()), int(d.Minutes())%60)
}

func instant(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return at.UTC().Format(time.RFC3339Nano)
}

func fields(all []ingest.Quantity) string {
	names := make([]string, len(all))
	for i, q := range all {
		names[i] = q.Field()
	}
	return strings.Join(names, " ")
}

func writeTable(path string, rows [][]string) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(csv.NewWriter(file).WriteAll(rows), finish(file)) // WriteAll flushes
}
