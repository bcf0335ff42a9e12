package page

import (
	"context"
	"math"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
)

// Ticks end, whatever the ends of the scale.
func TestTicksOfAnyScale(t *testing.T) {
	ends := []float64{math.Inf(-1), -800, -5, 0, 5, 709, 710, 800, math.Inf(1)}
	for _, lo := range ends {
		for _, hi := range ends {
			if n := len(logTicks(scale{lo: lo, hi: hi, a: 0, b: 100, log: true})); n > 100 {
				t.Errorf("%d ticks from %v to %v", n, lo, hi)
			}
		}
	}
}

// absurdHistory holds a device's word for "no value", stored long ago.
type absurdHistory struct{ value float64 }

func (h absurdHistory) points(from time.Time) []analysis.Point {
	return []analysis.Point{{At: from, Value: 0.1}, {At: from.Add(time.Hour), Value: h.value}, {At: from.Add(2 * time.Hour), Value: 0.12}}
}

func (h absurdHistory) Density(_ context.Context, _ string, from, _ time.Time, _ int) ([]analysis.Point, error) {
	return h.points(from), nil
}

func (h absurdHistory) Readings(_ context.Context, _ string, _ ingest.Quantity, from, _ time.Time, _ int) ([]analysis.Point, error) {
	return h.points(from), nil
}

func (h absurdHistory) Entries(context.Context, string, time.Time, time.Time) ([]ingest.Entry, error) {
	return nil, nil
}

type oneVessel struct{ value float64 }

func (s oneVessel) Shelf() Shelf {
	now := time.Date(2026, 2, 3, 12, 0, 0, 0, time.UTC)
	v := ingest.Vessel{Name: "C01", Kind: "carboy", LightsOn: -1, TempC: math.NaN()}
	est := analysis.Estimate{At: now, Lot: "A", Since: now.Add(-48 * time.Hour), Density: analysis.Interval{Low: s.value, Likely: s.value, High: s.value}}
	return Shelf{Room: "R", Now: now, Vessels: []VesselView{{Vessel: v, Estimate: est, Trail: absurdHistory(s).points(now.Add(-3 * time.Hour)),
		Latest: map[ingest.Quantity]analysis.Point{ingest.OD: {At: now, Value: s.value}}}}}
}

func TestAbsurdValuesAreDrawnAround(t *testing.T) {
	for _, value := range []float64{1e308, math.MaxFloat64, -math.MaxFloat64, 8e307, 1e13, math.Inf(1), math.NaN(), 5e-324} {
		for _, path := range []string{"/", "/vessel/C01", "/alarms"} {
			func() {
				w := httptest.NewRecorder()
				Handler(Options{Source: oneVessel{value}, History: absurdHistory{value}}).ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
				if w.Code != http.StatusOK || w.Body.Len() > 200_000 {
					t.Errorf("%v on %s: status %d, %d bytes", value, path, w.Code, w.Body.Len())
				}
			}()
		}
	}
}
