// Package expect gives the expected course of a lot: how it should grow from
// where it is.
//
// A law of growth with ten parameters (growth, light and its inhibition,
// self-shading, respiration, temperature, weight with its nitrogen and carbon,
// lag, what strong light costs the young, blank) is learnt for each strain in
// each medium from records of reference lots, [Learn]. The literature is the
// prior, so that it stands alone where there are none and fades as they come.
// [Library.Lot] tightens what is held of a strain by a lot's own record; the
// [Lot] then gives the band to come, the time of harvest, the course so far with
// what was surprising in it, and what holds it back. Everything is a plain value,
// pure and the same each time; a [Library] can be kept as JSON.
//
// Units: od above blank, hours of a record, rates in 1/d, light in umol photons
// m-2 s-1, degC, air in litres a minute for each litre (vvm).
//
// [Course] is the older, wider form that needs no record, for a page that has
// none.
package expect

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Lag is how long a lot may take before it grows: hours to two days (common
// practice; FAO Fisheries Technical Paper 361, section 2.3.1 describes the
// phase without a length).
const Lag = 48 * time.Hour

// Week is the pace, 1/d, that brings a tenth of the volume to a full, dark
// vessel in about a week (common practice): ln 10 / 7 d.
const Week = math.Ln10 / 7

// Slowest is the net growth over a whole day, 1/d, below which a lot that is
// neither in its lag nor near its harvest is not growing as it should: a third
// of Week, which would make the week three.
const Slowest = Week / 3

// NightLoss is the greatest share of biomass that a healthy culture loses over
// a dark night: 1 to 22 per cent over ten hours (Edmundson and Huesemann 2015,
// Algal Research 12:470-476, abstract).
const NightLoss = 0.22

// YoungLoss is the greatest share that a healthy lot loses in its first days
// under strong light before it recovers: about a third.
const YoungLoss = 0.35

// Young is how long a lot is young in that sense.
const Young = 72 * time.Hour

// Ceiling is the greatest specific growth rate of any phytoplankton at a
// temperature in degC, 1/d, over a whole day in unbroken light:
// mu = 0.81 exp(0.0631 T), the 99th quantile of 1,501 rates
// (Bissinger, Montagnes, Sharples and Atkinson 2008, Limnol. Oceanogr.
// 53(2):487-493). NaN for NaN.
func Ceiling(tempC float64) float64 { return 0.81 * math.Exp(0.0631*tempC) }

// Eppley is the older envelope of the same thing, 1/d:
// log10 k = 0.0275 T - 0.070 in doublings a day, times ln 2
// (Eppley 1972, Fish. Bull. 70:1063-1085).
func Eppley(tempC float64) float64 {
	return math.Ln2 * math.Pow(10, 0.0275*tempC-0.070)
}

// Course is the expected course of one lot from its start.
type Course struct {
	Start   time.Time
	Density float64 // od above blank at Start
	Low     float64 // net growth over a whole day after the lag, 1/d
	High    float64
	Ready   float64 // density at which it is harvested; 0 unknown
	// Fit says how the course was come by: "literature" here.
	From string
}

// Literature returns the course that the literature allows a lot started at
// start with the density given, in the vessel given.
func Literature(v ingest.Vessel, start time.Time, density, ready float64) Course {
	temp := v.TempC
	if math.IsNaN(temp) {
		temp = 20 // a room at which every feed species is grown (FAO 361: 18 to 24)
	}
	lit := 1.0
	if v.LightHours > 0 {
		lit = v.LightHours.Hours() / 24
	}
	return Course{Start: start, Density: density, Low: Slowest, High: Ceiling(temp) * lit, Ready: ready, From: "literature"}
}

// At returns the band of density that the course allows at t: after the
// longest lag at the slowest pace, with the young lot's and one night's loss,
// to no lag at the fastest. Above the harvest density slowing is the rule, so
// the lower end stays there.
func (c Course) At(t time.Time) (low, high float64) {
	age := t.Sub(c.Start)
	if age < 0 || !(c.Density > 0) {
		return math.NaN(), math.NaN()
	}
	days := age.Hours() / 24
	low = c.Density * (1 - YoungLoss)
	if age > Lag {
		low *= math.Exp(c.Low * (age - Lag).Hours() / 24)
	}
	if c.Ready > 0 {
		low = math.Min(low, math.Max(c.Ready*(1-NightLoss), c.Density*(1-YoungLoss)))
	}
	return low, math.Min(c.Density*math.Exp(c.High*days), most)
}

// most is the greatest od that any probe on a carboy tells apart from black.
const most = 4
