package ingest

import (
	"math"
	"testing"
	"time"
)

// By hand: a lamp of 16 h from 06:00 has its middle at 14:00; half a sine is
// sin(30 deg) = 0.5 after a sixth of its hours.
func TestLampFollowsTheClockOnTheWall(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	square := Vessel{Zone: zone, LightsOn: 6 * time.Hour, LightHours: 16 * time.Hour, LightShape: Square}
	sine := square
	sine.LightShape = Sine
	late := square
	late.LightsOn = 20 * time.Hour // through midnight, to 12:00
	always := square
	always.LightHours = 24 * time.Hour
	unknown := square
	unknown.LightsOn = -1
	greenwich := square
	greenwich.Zone = nil
	unset := Vessel{}
	summer := func(h, m int) time.Time { return time.Date(2026, 7, 1, h, m, 0, 0, zone) }
	for _, c := range []struct {
		name string
		of   Vessel
		at   time.Time
		want float64
	}{
		{"before", square, summer(5, 59), 0}, {"on", square, summer(6, 0), 1}, {"last minute", square, summer(21, 59), 1}, {"off", square, summer(22, 0), 0},
		{"given in another zone", square, summer(6, 0).UTC(), 1}, {"winter time", square, time.Date(2026, 12, 1, 6, 0, 0, 0, time.UTC), 1},
		{"middle of a sine", sine, summer(14, 0), 1}, {"a sixth of a sine", sine, summer(8, 40), 0.5}, {"night of a sine", sine, summer(3, 0), 0},
		{"past midnight", late, summer(3, 0), 1}, {"after it", late, summer(13, 0), 0},
		{"always", always, summer(3, 0), 1}, {"hours unknown", unknown, summer(12, 0), math.NaN()}, {"nothing set", unset, summer(12, 0), math.NaN()},
		{"no zone is UTC", greenwich, summer(6, 30), 0}, {"in UTC", greenwich, summer(7, 0), 1},
	} {
		got := c.of.Lit(c.at)
		if !(math.Abs(got-c.want) < 1e-12) && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%s: the lamp burns at %v of its peak, want %v", c.name, got, c.want)
		}
	}
}
