package daemon

import (
	"github.com/nightshelf/nightshelf/analysis/plan"
	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// doseUnfit says why a dose does not fit, empty if it does or nothing is known
// of its medium.
func doseUnfit(room *config.Config) func(medium, strain string, litres float64, partsML map[string]float64, whole bool) string {
	return func(medium, strain string, litres float64, partsML map[string]float64, whole bool) string {
		r, own, err := amounts.Find(room, medium)
		if err != nil {
			return ""
		}
		return plan.Misfit(r, own, strain, litres, partsML, whole)
	}
}

// Amounts returns what a step of making a vessel ready takes, with its
// cautions.
func (b *book) Amounts(vessel string, step ingest.Kind) (lines, cautions []string) {
	v := amounts.Vessel{}
	for _, c := range b.d.config.Vessels {
		if c.Name == vessel {
			v.LitresL = c.VolumeL
		}
	}
	b.Read(func(k *logbook.Book) {
		known := k.Vessel(vessel)
		w := known.Water
		if !w.Filled.IsZero() && known.FilledL > 0 { // what is left of a lot is no water to be treated
			v.LitresL = known.FilledL
		}
		v.Medium, v.FoundMgPerL, v.DosedMgPerL = w.Medium, w.Test.MgPerL, w.ChlorineMg
		if v.DosedMgPerL == 0 && w.BleachML > 0 {
			v.DosedMgPerL = amounts.Chlorine(b.d.config, w.BleachML, v.LitresL)
		}
		if before, ok := k.Lot(known.Before); ok && v.Medium == "" {
			v.Medium = before.Medium
		}
	})
	s := amounts.For(b.d.config, v, step)
	return s.Lines, s.Cautions
}
