package main

import (
	"io"

	"github.com/nightshelf/nightshelf/analysis/plan"
)

// steriliseJSONOut is what sterilise --json prints, with all digits. Waits are
// in seconds.
type steriliseJSONOut struct {
	Vessel   string           `json:"vessel,omitempty"`
	VolumeL  float64          `json:"volume_l"`
	FoundMgL float64          `json:"found_mg_per_l,omitempty"`
	Soak     *bleachJSON      `json:"soak,omitempty"`
	Seawater *bleachJSON      `json:"seawater,omitempty"`
	Ends     *thiosulfateJSON `json:"thiosulfate_soak,omitempty"`
	Last     *thiosulfateJSON `json:"thiosulfate_seawater,omitempty"`
	Steps    []stepJSON       `json:"steps"`
	Advice   *adviceJSON      `json:"advice"`
}

type bleachJSON struct {
	MgPerL   float64       `json:"free_chlorine_mg_per_l"`
	ContactS float64       `json:"contact_s"`
	ML       float64       `json:"bleach_ml"`
	GPerL    float64       `json:"bleach_chlorine_g_per_l"`
	Readings []readingJSON `json:"readings"`
}

type readingJSON struct {
	Label  string  `json:"label"`
	ML     float64 `json:"bleach_ml"`
	MgPerL float64 `json:"free_chlorine_mg_per_l"`
}

type thiosulfateJSON struct {
	Form       string  `json:"form"`
	Convention string  `json:"convention"`
	Margin     float64 `json:"margin"`
	G          float64 `json:"g"`
	ML         float64 `json:"ml,omitempty"`
	OxygenMgL  float64 `json:"oxygen_demand_mg_per_l"`
	Other      string  `json:"other_convention"`
	OtherG     float64 `json:"other_g"`
}

type stepJSON struct {
	Kind          string  `json:"kind"`
	Text          string  `json:"text"`
	BleachML      float64 `json:"bleach_ml,omitempty"`
	ThiosulfateG  float64 `json:"thiosulfate_g,omitempty"`
	ThiosulfateML float64 `json:"thiosulfate_ml,omitempty"`
	WaitS         float64 `json:"wait_s,omitempty"`
	Care          string  `json:"care,omitempty"`
}

func steriliseJSON(w io.Writer, s sterilised) error {
	out := steriliseJSONOut{Vessel: s.place.name, VolumeL: s.place.litres, FoundMgL: s.in.FreeChlorineMgPerL,
		Steps: []stepJSON{}, Advice: adviceOf(s.Advice)}
	if s.soak != nil {
		out.Soak, out.Seawater, out.Ends = bleachOf(s.soak), bleachOf(s.water), thiosulfateOf(*s.first)
	}
	if !s.none {
		out.Last = thiosulfateOf(s.last)
	}
	for _, t := range s.steps {
		out.Steps = append(out.Steps, stepJSON{t.Kind, t.Text, t.BleachML, t.ThiosulfateG, t.ThiosulfateML, t.Wait.Seconds(), string(t.Care)})
	}
	return writeJSON(w, out)
}

func bleachOf(d *plan.BleachDose) *bleachJSON {
	out := &bleachJSON{MgPerL: d.FreeChlorineMgPerL, ContactS: d.Contact.Seconds(), ML: d.BleachML, GPerL: d.BleachGPerL}
	for _, r := range d.Readings {
		out.Readings = append(out.Readings, readingJSON{string(r.Basis), r.BleachML, r.MgPerL})
	}
	return out
}

func thiosulfateOf(d plan.ThiosulfateDose) *thiosulfateJSON {
	return &thiosulfateJSON{Form: string(d.Form), Convention: string(d.Chosen.Convention), Margin: d.Margin, G: d.Chosen.Grams, ML: d.Chosen.StockML,
		OxygenMgL: d.Chosen.OxygenMgPerL, Other: string(d.Other.Convention), OtherG: d.Other.Grams}
}
