// Package byhour brings the readings of a vessel to one record an hour, the form
// in which the expected course is learnt and followed.
package byhour

import (
	"math"
	"slices"
	"time"

	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest"
)

// hourMost is how many values of one quantity are kept of one hour: one every
// 15 s fits whole.
const hourMost = 240

// gathered are the values of one vessel in one hour.
type gathered struct {
	od, par, temp, air []float32
}

// Hours gathers the readings of one vessel by the hour they were taken in,
// whatever their order of arrival.
type Hours struct {
	set   ingest.Vessel
	first int64 // hour since 1970 of the first element
	list  []gathered
}

// HourOf is the hour since 1970 that t lies in.
func HourOf(t time.Time) int64 { return t.Unix() / 3600 }

// furthest is how many hours a record goes on at most: a stamp gone wrong must
// not fill the memory.
const furthest = 24 * 400

// Of returns what gathers the readings of a vessel.
func Of(set ingest.Vessel) *Hours { return &Hours{set: set} }

// End is the hour after the newest that holds a reading.
func (h *Hours) End() int64 { return h.first + int64(len(h.list)) }

// Take takes in one reading, whatever its place in time.
func (h *Hours) Take(r ingest.Reading) {
	at := HourOf(r.At)
	if h.first == 0 {
		h.first = at - 24 // what comes late has room before it
	}
	i := at - h.first
	if i < 0 || i >= furthest {
		return
	}
	for int64(len(h.list)) <= i {
		h.list = append(h.list, gathered{})
	}
	g := &h.list[i]
	switch r.Quantity {
	case ingest.OD:
		g.od = keep(g.od, r.Value)
	case ingest.Light:
		g.par = keep(g.par, r.Value)
	case ingest.Temperature:
		g.temp = keep(g.temp, r.Value)
	case ingest.Airflow:
		g.air = keep(g.air, r.Value)
	}
}

func keep(list []float32, v float64) []float32 {
	if len(list) >= hourMost {
		return list
	}
	return append(list, float32(v))
}

// median of a list that may be sorted on the way; NaN where it is empty.
func median(list []float32) float64 {
	if len(list) == 0 {
		return math.NaN()
	}
	slices.Sort(list)
	return float64(list[len(list)/2]+list[(len(list)-1)/2]) / 2
}

// mean without the outermost tenths, for a lamp that comes on within the hour.
func mean(list []float32) float64 {
	if len(list) == 0 {
		return math.NaN()
	}
	slices.Sort(list)
	cut := len(list) / 10
	sum := 0.0
	for _, v := range list[cut : len(list)-cut] {
		sum += float64(v)
	}
	return sum / float64(len(list)-2*cut)
}

// od is the median od of each of the hours from to before to.
func (h *Hours) od(from, to int64) []float64 {
	out := make([]float64, 0, max(to-from, 0))
	for i := from; i < to; i++ {
		out = append(out, median(h.at(i).od))
	}
	return out
}

func (h *Hours) at(hour int64) gathered {
	if i := hour - h.first; i >= 0 && i < int64(len(h.list)) {
		return h.list[i]
	}
	return gathered{}
}

// standingLeast is how many hours of standing medium tell the blank and the
// noise.
const standingLeast = 6

// blank is the od of the medium in the day before a lot began, its error, and
// the noise of an hour's median about it, 0 unknown.
func (h *Hours) blank(start int64) (blank, sigma, noise float64) {
	var seen []float32
	for _, v := range h.od(start-24, start) {
		if v < track.StandingMost {
			seen = append(seen, float32(v))
		}
	}
	if len(seen) < standingLeast {
		return 0, track.UnknownBlank, 0
	}
	mid := median(seen)
	for i, v := range seen {
		seen[i] = float32(math.Abs(float64(v) - mid))
	}
	// 1.4826 times the median deviation is a normal's standard deviation; three
	// decimals of od resolve no less than the floor. Noise that lasts for hours
	// leaves a quarter of the hours to tell.
	noise = max(1.4826*median(seen), 0.0005)
	return mid, noise / math.Sqrt(float64(len(seen))/4), noise
}

// Record is a lot of this vessel from its inoculation to before the hour end.
func (h *Hours) Record(lot, strain, medium string, since time.Time, end int64) expect.Record {
	start := HourOf(since) + 1
	blank, sigma, noise := h.blank(start - 1)
	r := expect.Record{Lot: lot, Strain: strain, Medium: medium, VolumeL: h.set.VolumeL,
		Start: time.Unix(start*3600, 0).UTC(), BlankError: sigma, Noise: noise}
	if !(r.VolumeL > 0) {
		r.VolumeL = 10 // a carboy
	}
	r.OD = h.od(start, end)
	for i := range r.OD {
		r.OD[i] -= blank
	}
	for i := start; i < end; i++ {
		r.Hours = append(r.Hours, h.hour(i, i))
	}
	return r
}

// Ahead are the hours from end on, as the last days were.
func (h *Hours) Ahead(end int64, n int) []expect.Hour {
	out := make([]expect.Hour, n)
	for i := range out {
		if i >= 24 {
			out[i] = out[i-24]
			continue
		}
		out[i] = h.hour(end+int64(i), end)
	}
	return out
}

// usual of what nobody set: a room in which every feed species is grown (FAO
// 361: 18 to 24 degC), and a lamp as most shelves have it.
const usualTemp, usualPar = 20, expect.UsualPar

// hour is what surrounded the vessel in an hour, as far as was known before
// the hour known; what was not measured is as it was at the same time of the
// three days before, or else as it was set.
func (h *Hours) hour(hour, known int64) expect.Hour {
	out := expect.Hour{Par: math.NaN(), TempC: math.NaN(), Vvm: math.NaN()}
	var par, temp, air []float32
	if hour <= known && hour >= 0 {
		g := h.at(hour)
		out.Par, out.TempC, out.Vvm = mean(g.par), median(g.temp), median(g.air)
	}
	if out.Par != out.Par || out.TempC != out.TempC || out.Vvm != out.Vvm { //nolint:staticcheck // NaN is unlike itself
		for d := int64(1); d <= 4 && len(par) < 3; d++ {
			if hour-24*d >= known {
				continue
			}
			g := h.at(hour - 24*d)
			par, temp, air = add(par, mean(g.par)), add(temp, median(g.temp)), add(air, median(g.air))
		}
	}
	out.Par = first(out.Par, median(par), h.lamp(hour))
	out.TempC = first(out.TempC, median(temp), h.set.TempC, usualTemp)
	out.Vvm = first(out.Vvm, median(air), set(h.set.AirLpm)) / set(h.set.VolumeL) // unknown where either is
	return out
}

func add(list []float32, v float64) []float32 {
	if math.IsNaN(v) {
		return list
	}
	return append(list, float32(v))
}

func set(v float64) float64 {
	if v > 0 {
		return v
	}
	return math.NaN()
}

// first returns the first value that is known.
func first(values ...float64) float64 {
	for _, v := range values {
		if !math.IsNaN(v) {
			return v
		}
	}
	return math.NaN()
}

// lamp is the light that is set for an hour; of a lamp whose hours nobody set,
// its peak.
func (h *Hours) lamp(hour int64) float64 {
	return first(set(h.set.ParUmol), usualPar) * first(h.set.Lit(time.Unix(hour*3600+1800, 0)), 1)
}
