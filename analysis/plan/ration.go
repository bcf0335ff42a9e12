package plan

import "fmt"

// Stated bounds of feeding, beyond which a plan says so.
const (
	// SafeTankCellsPerML is the densest food at which small grazers were still
	// well (El-Tohamy and others 2020, a copepod); larvae of surf clams did
	// worse from 2e5 on (Hurley, Walker and O'Beirn 1997).
	SafeTankCellsPerML = 4e5
	// RotiferMostPerDay is the intake of a starved rotifer in a short test,
	// 24,699 cells/min (Savas and Guclu 2006), over a whole day: no ration.
	RotiferMostPerDay = 24699.0 * 1440
	// UsualSpatMgPerMgWeek is algae as organic dry weight for live weight of
	// bivalve spat and week (FAO 471, section 6.4, from memory).
	UsualSpatMgPerMgWeek = 0.4
)

// Ration is what is wanted for animals that are counted.
type Ration struct {
	Animals           float64
	CellsPerAnimalDay float64
	Days              float64 // 0: one
	CultureCellsPerML float64 // of what is harvested
	AvailableL        float64 // 0: not said
	TankL             float64 // where the animals are; 0: not said
}

// Feed is how much culture that is.
type Feed struct {
	CultureL       float64
	CultureLPerDay float64
	Cells          float64
	TankCellsPerML float64 // what one day's feed adds to the tank; 0 where the tank is not known
	Advice
}

// Rationed gives the culture for a ration:
// L/d = cells/animal/d * animals / (cells/mL * 1000).
func Rationed(in Ration) (Feed, error) {
	in.Days = or(in.Days, 1)
	var c checker
	c.within("number of animals", in.Animals, 1, 1e12, "")
	c.within("ration", in.CellsPerAnimalDay, 1, 1e12, "cells/animal/d")
	c.within("days", in.Days, 0.01, 365, "d")
	c.cells("density of the culture", in.CultureCellsPerML)
	c.optional("available culture", in.AvailableL, leastVolumeL, greatestVolumeL, "L")
	c.optional("tank volume", in.TankL, leastVolumeL, greatestVolumeL, "L")
	if err := c.err("plan ration"); err != nil {
		return Feed{}, err
	}
	perDay := in.CellsPerAnimalDay * in.Animals
	out := feed(perDay*in.Days, in.CultureCellsPerML, in.Days)
	if in.TankL > 0 {
		out.TankCellsPerML = perDay / (1000 * (in.TankL + out.CultureLPerDay))
	}
	if in.CellsPerAnimalDay > RotiferMostPerDay {
		out.warn(fmt.Sprintf("%s cells an animal a day is above %s, the most that a rotifer was seen to take in: right for larger animals only.",
			num(in.CellsPerAnimalDay), short(RotiferMostPerDay)))
	}
	out.bounds(in.AvailableL, in.TankL)
	return out, nil
}

// TankFeed is what is wanted for a density of food in the water.
type TankFeed struct {
	TankL             float64
	NowCellsPerML     float64 // left in the tank, 0 or more
	WantedCellsPerML  float64
	CultureCellsPerML float64
	AvailableL        float64 // 0: not said
}

// FeedTank gives the culture that brings a tank to a density of food, its own
// volume counted: L = tank * (wanted - now) / (culture - wanted). None where
// there is enough already.
func FeedTank(in TankFeed) (Feed, error) {
	var c checker
	c.volume("tank volume", in.TankL)
	c.within("food in the tank", in.NowCellsPerML, 0, greatestCells, "cells/mL")
	c.cells("wanted food", in.WantedCellsPerML)
	c.cells("density of the culture", in.CultureCellsPerML)
	c.optional("available culture", in.AvailableL, leastVolumeL, greatestVolumeL, "L")
	if len(c.faults) == 0 && in.WantedCellsPerML > in.CultureCellsPerML/2 {
		c.fault("wanted food", withUnit(in.WantedCellsPerML, "cells/mL"),
			fmt.Sprintf("must be at most half of the culture's own %s cells/mL", num(in.CultureCellsPerML)))
	}
	if err := c.err("plan feed"); err != nil {
		return Feed{}, err
	}
	litres := max(0, in.TankL*(in.WantedCellsPerML-in.NowCellsPerML)/(in.CultureCellsPerML-in.WantedCellsPerML))
	out := feed(litres*1000*in.CultureCellsPerML, in.CultureCellsPerML, 1)
	out.TankCellsPerML = max(in.NowCellsPerML, in.WantedCellsPerML)
	if litres == 0 {
		out.assume("There is food enough in the tank already.")
	}
	out.bounds(in.AvailableL, in.TankL)
	return out, nil
}

// SpatFeed is what is wanted for animals that are weighed.
type SpatFeed struct {
	LiveG             float64 // live weight of the spat
	MgPerMgWeek       float64 // 0: UsualSpatMgPerMgWeek
	OrganicPgPerCell  float64 // organic dry weight of a cell
	CultureCellsPerML float64
	AvailableL        float64 // 0: not said
}

// FeedSpat gives the culture for a week of spat by live weight:
// cells = g * mg/mg * 1e12 / pg.
func FeedSpat(in SpatFeed) (Feed, error) {
	in.MgPerMgWeek = or(in.MgPerMgWeek, UsualSpatMgPerMgWeek)
	var c checker
	c.within("live weight", in.LiveG, 1e-6, 1e6, "g")
	c.within("ration", in.MgPerMgWeek, 0.001, 10, "mg/mg/week")
	c.within("organic weight of a cell", in.OrganicPgPerCell, 0.1, 1e5, "pg")
	c.cells("density of the culture", in.CultureCellsPerML)
	c.optional("available culture", in.AvailableL, leastVolumeL, greatestVolumeL, "L")
	if err := c.err("plan ration"); err != nil {
		return Feed{}, err
	}
	out := feed(in.LiveG*in.MgPerMgWeek*1e12/in.OrganicPgPerCell, in.CultureCellsPerML, 7)
	out.assume("The weight of a cell differs between tables by up to three times: weigh or count your own.")
	if in.MgPerMgWeek > 2*UsualSpatMgPerMgWeek {
		out.warn(fmt.Sprintf("%s mg a mg a week is more than twice the usual %s.", num(in.MgPerMgWeek), num(UsualSpatMgPerMgWeek)))
	}
	out.bounds(in.AvailableL, 0)
	return out, nil
}

func feed(cells, cellsPerML, days float64) Feed {
	litres := cells / (1000 * cellsPerML)
	return Feed{Cells: cells, CultureL: litres, CultureLPerDay: litres / days,
		Advice: Advice{Cautions: []Caution{lookAtCulture, Electricity, Defer}}}
}

func (f *Feed) bounds(availableL, tankL float64) {
	f.assume("The density is a count of this harvest; rations are a start, and the animals' guts and the colour of the water decide.")
	if f.TankCellsPerML > SafeTankCellsPerML {
		f.warn(fmt.Sprintf("%s cells/mL in the tank is above %s: feed in parts; what is not eaten fouls the water.",
			short(f.TankCellsPerML), num(SafeTankCellsPerML)))
	}
	if availableL > 0 && f.CultureL > availableL {
		f.warn(fmt.Sprintf("This takes %s L and %s L are there.", short(f.CultureL), num(availableL)))
	}
	if tankL > 0 && f.CultureLPerDay > tankL/4 {
		f.warn(fmt.Sprintf("%s L a day is more than a quarter of the tank: its spent medium and salinity come along.", short(f.CultureLPerDay)))
	}
}
