package simulate

import (
	"math"
	"time"
)

// Surroundings, all choices.
const (
	airSlowShare  = 0.03 // slow wandering of the air, as a share
	airSlowDays   = 8. / 24
	dayWave       = 0.3 // K by which the room follows the day
	lampWarms     = 0.4 // K
	tempSlow      = 0.12
	tempSlowDays  = 3. / 24
	tempLagH      = 0.5  // h in which a small vessel follows the room
	tempLagHPerL  = 0.12 // h more for every litre
	usualTemp     = 21.
	usualLight    = 100.
	usualAirShare = 0.2 // L/min per litre
)

// surround finds what surrounds the culture, as it is and as it would be
// without the faults, after dt days.
func (p *pot) surround(local, now time.Time, dt float64) {
	w := &p.wrong
	p.airSlow = ornstein(p.rng, p.airSlow, dt, airSlowDays)
	p.tempSlow = ornstein(p.rng, p.tempSlow, dt, tempSlowDays)
	lamp := lit(&p.vessel, now)
	p.fine.par, p.now.par = p.vessel.ParUmol*lamp, p.vessel.ParUmol*max(lamp*w.light, w.allDay)
	air := p.vessel.AirLpm * math.Max(0, 1+airSlowShare*p.airSlow)
	if now.Before(p.shutUntil) {
		air = 0
	}
	p.fine.air, p.now.air = air, air*w.air
	p.fine.stir, p.now.stir = p.fine.air/p.vessel.AirLpm, p.now.air/p.vessel.AirLpm
	hour := float64(local.Hour()) + float64(local.Minute())/60
	target := p.vessel.TempC + dayWave*math.Sin(2*math.Pi*(hour-9)/24) + tempSlow*p.tempSlow
	follow := -math.Expm1(-dt * 24 / (tempLagH + tempLagHPerL*p.vessel.VolumeL))
	p.fine.temp += (target + lampWarms*lamp - p.fine.temp) * follow
	if w.drift != 0 {
		target = w.drift
	}
	p.now.temp += (target + lampWarms*p.now.par/p.vessel.ParUmol - p.now.temp) * follow
	p.fine.volume, p.now.volume = math.Max(p.volume, 0.1), math.Max(p.volume, 0.1)
}
