package simulate

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Habits of the keeper, all choices.
const (
	dayBegins     = 8 * time.Hour
	dayEnds       = 17 * time.Hour // the last thing is begun
	mayHarvestAt  = 2              // days after the start
	topUpShare    = 0.012
	wipesEvery    = 6 // days
	morningWrites = 8*time.Hour + 10*time.Minute
)

// keep lets the keeper make up their mind once a day, when the day begins.
// They draw as much on a day with nothing to do.
func (p *pot) keep(k *Keeper, local, now time.Time) {
	if *k == (Keeper{}) || local.YearDay() == p.planned || local.Hour() < int(dayBegins.Hours()) {
		return
	}
	first := p.planned < 0
	p.planned = local.YearDay()
	day := time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, local.Location())
	harvest, topUp, wipe, hand := p.draft(k, day), p.draft(k, day), p.draft(k, day), p.draft(k, day)
	wipes, hands := p.people.Float64() < 1./wipesEvery, p.people.Float64() < k.Hands
	if first && now.Sub(day) > dayBegins+time.Hour {
		return // the room begins in the middle of a day
	}
	if p.ready(k, now) {
		harvest.Kind, harvest.Refilled = ingest.Harvest, true
		harvest.Litres = math.Round(10*k.Harvest*p.vessel.VolumeL) / 10
		p.add(harvest)
	} else if k.TopUp && p.low() {
		topUp.Kind = ingest.TopUp
		p.add(topUp)
	}
	if k.Wipe && wipes {
		wipe.Kind = ingest.WipeSensor
		p.add(wipe)
	}
	if hands {
		hand.Kind, hand.Written = ingest.Look, time.Time{} // nobody writes that they looked
		p.add(hand)
	}
}

// draft draws when something is done today and when it is written.
func (p *pot) draft(k *Keeper, day time.Time) Act {
	at := clockTime(day, dayBegins+time.Duration(p.people.Float64()*float64(dayEnds-dayBegins))).Truncate(time.Minute)
	a := Act{Vessel: p.vessel.Name, At: at, Written: at.Add(p.soon()), AirShut: p.shut()}
	switch u := p.people.Float64(); {
	case u < k.Never:
		a.Written = time.Time{}
	case u < k.Never+k.NextMorning:
		a.Written = clockTime(day.AddDate(0, 0, 1), morningWrites)
	}
	return a
}

// clockTime is when the clock on the wall shows clock on that day.
func clockTime(day time.Time, clock time.Duration) time.Time {
	return time.Date(day.Year(), day.Month(), day.Day(), 0, 0, int(clock.Seconds()), 0, day.Location())
}

// ready says whether the lot is to be harvested today: dense enough and not
// too young. People judge by eye, which is by the truth.
func (p *pot) ready(k *Keeper, now time.Time) bool {
	return k.Harvest > 0 && p.living && p.lot.Lot.HarvestOD > 0 && p.signal(&p.sick) >= p.lot.Lot.HarvestOD &&
		now.Sub(p.lot.Lot.Inoculated).Hours() >= 24*mayHarvestAt
}

// low says whether enough has dried off to be worth a bottle. A vessel that
// has run out is another matter.
func (p *pot) low() bool {
	return p.living && p.volume < (1-topUpShare)*p.vessel.VolumeL && p.volume > dryBelow*p.vessel.VolumeL
}
