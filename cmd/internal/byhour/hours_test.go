package byhour

import (
	"math"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

func TestHoursGatherLateReadings(t *testing.T) {
	at := time.Date(2026, time.March, 2, 10, 0, 0, 0, time.UTC)
	h := Hours{set: ingest.Vessel{Name: "C1", VolumeL: 10, TempC: math.NaN(), LightsOn: 6 * time.Hour, LightHours: 12 * time.Hour, ParUmol: 80}}
	for _, m := range []int{0, 70, 5, 80, 10} { // the third and the fifth come late
		h.Take(ingest.Reading{Vessel: "C1", Quantity: ingest.OD, Value: float64(m), At: at.Add(time.Duration(m) * time.Minute)})
	}
	h.Take(ingest.Reading{Vessel: "C1", Quantity: ingest.OD, Value: 1, At: at.AddDate(20, 0, 0)}) // a clock gone wrong
	if got := h.od(HourOf(at), HourOf(at)+2); got[0] != 5 || got[1] != 75 || len(h.list) > furthest {
		t.Errorf("hours of %v, %d kept", got, len(h.list))
	}
	// Nothing measured: as set, or as usual.
	day, night := h.hour(HourOf(at), HourOf(at)), h.hour(HourOf(at)+10, HourOf(at)+10)
	if day.Par != 80 || night.Par != 0 || day.TempC != usualTemp || !math.IsNaN(day.Vvm) {
		t.Errorf("by day %+v, by night %+v", day, night)
	}
	h.Take(ingest.Reading{Vessel: "C1", Quantity: ingest.Light, Value: 40, At: at.Add(time.Minute)})
	if next := h.Ahead(HourOf(at)+24, 30); next[0].Par != 40 || next[24].Par != 40 || next[12].Par != 0 {
		t.Errorf("the lamp to come: %+v", next)
	}
}
