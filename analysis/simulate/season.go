package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
)

// Season plans n vessels (V01, V02, ...) over days days from start on, each
// with one lot that is inoculated in the first two days, readings every two
// minutes, a usual keeper and usual delivery. rate is the share of vessels, 0
// to 1, that one fault of any kind strikes. All of it is drawn from seed.
func Season(seed uint64, start time.Time, n, days int, rate float64) Plan {
	chance := rand.New(rand.NewPCG(seed, 0x736561736f6e))
	plan := Plan{Start: start, End: start.Add(time.Duration(days) * 24 * time.Hour), Keeper: UsualKeeper(), Delivery: UsualDelivery()}
	for i := range n {
		place := seasonPlace(chance, fmt.Sprintf("V%02d", i+1), i+1, start)
		plan.Places = append(plan.Places, place)
		if fault := seasonFault(chance, &place, days); chance.Float64() < rate {
			plan.Faults = append(plan.Faults, fault)
		}
	}
	return plan
}

func seasonPlace(r *rand.Rand, name string, number int, start time.Time) Place {
	between := func(low, high float64) float64 { return math.Round(10*(low+(high-low)*r.Float64())) / 10 }
	s := &strains[r.IntN(len(strains))]
	v := ingest.Vessel{Name: name, Kind: "carboy", VolumeL: []float64{12, 18, 19}[r.IntN(3)], Zone: start.Location(), TempBand: 2,
		LightsOn: time.Duration(5+r.IntN(4)) * time.Hour, LightHours: []time.Duration{16, 18, 24}[r.IntN(3)] * time.Hour,
		LightShape: []ingest.Shape{ingest.Square, ingest.Square, ingest.Sine}[r.IntN(3)], ParUmol: math.Round(between(90, 170)),
		TempC: between(s.TOpt-5, s.TOpt-1), Interval: 2 * time.Minute, HarvestOD: 0.35}
	v.AirLpm = math.Round(10*v.VolumeL*between(0.1, 0.3)) / 10
	at := start.Add(time.Duration(r.IntN(2))*24*time.Hour + 9*time.Hour + time.Duration(r.IntN(8*60))*time.Minute)
	lot := ingest.Lot{Name: fmt.Sprintf("%s-%d", strings.ToUpper(s.Name[:2]), 200+number), Vessel: name, Strain: s.Name, Medium: "f/2",
		Role: ingest.Watch, Inoculated: at, InoculumL: math.Round(10*v.VolumeL*(0.09+0.05*r.Float64())) / 10, HarvestOD: v.HarvestOD}
	return Place{Vessel: v, Starts: []Start{{Lot: lot}}, Probe: UsualProbe(r)}
}

// lasting is how long the faults that people mend last at least and at most.
var lasting = map[analysis.Class][2]time.Duration{
	analysis.Airflow:     {time.Hour, 8 * time.Hour},
	analysis.Light:       {8 * time.Hour, 30 * time.Hour},
	analysis.Temperature: {8 * time.Hour, 20 * time.Hour},
	analysis.Sensor:      {6 * time.Hour, 30 * time.Hour},
}

// seasonFault draws what may strike a place, and when. It draws the same
// number of times for every kind.
func seasonFault(r *rand.Rand, place *Place, days int) Fault {
	f := Fault{Kind: kinds[r.IntN(len(kinds))].kind, Vessel: place.Vessel.Name}
	inoculated := place.Starts[0].Lot.Inoculated
	when, long := r.Float64(), r.Float64()
	room := max(0, float64(days)-4)
	f.From = inoculated.Add(time.Duration((1.5 + room*when) * 24 * float64(time.Hour))).Truncate(time.Minute)
	if f.Kind == NutrientShort || f.Kind == DeadInoculum {
		f.From = inoculated
	}
	if span, ok := lasting[f.Kind.Class()]; ok {
		f.Until = f.From.Add(span[0] + time.Duration(long*float64(span[1]-span[0]))).Truncate(time.Minute)
	}
	return f
}
