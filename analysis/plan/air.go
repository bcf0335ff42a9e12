package plan

import (
	"fmt"
	"math"
)

// Air and carbon.
const (
	UsualCO2Ppm        = 420.0   // of plain air (NOAA GML, from memory); it rises 2 to 3 a year
	SafeCO2Ppm         = 10000.0 // 1 per cent, usual where CO2 is added (FAO 361 and practice, from memory)
	LeastVVM           = 0.05    // usual aeration, volumes of air per volume and minute
	GreatestVVM        = 0.5     // the same
	CarbonShare        = 0.5     // of dry weight
	gasLAtmPerMolK     = 0.082057
	zeroC              = 273.15
	molarCarbon        = 12.011
	minutesPerDay      = 1440
	enrichedAbovePpm   = 1000.0 // nobody's room air: CO2 was added
	usualTempC         = 20.0
	greatestDryGPerL   = 100.0
	greatestGrowthPerD = 5.0
)

// Aeration is what goes through a vessel.
type Aeration struct {
	CultureL      float64
	AirLPerMin    float64
	TempC         float64 // of the air as measured; NaN: 20
	CO2Ppm        float64 // by volume; 0: UsualCO2Ppm
	CapturedShare float64 // of the CO2, 0 to 1; 0: all, which no vessel reaches
	DryGPerL      float64 // density now; 0: not known
}

// CarbonSupply is what the air brings and what growth that carries.
type CarbonSupply struct {
	VVM          float64 // volumes of air per volume of culture and minute
	CMmolPerLDay float64 // CO2 offered and captured
	CMgPerLDay   float64 // as carbon
	DryGPerLDay  float64 // dry weight that pays for, at half carbon
	GrowthPerD   float64 // growth rate that carries at DryGPerL, 1/d; 0 where that is not known
	Advice
}

// Aerate gives the carbon that an airflow brings:
// mmol/L/d = vvm * 1440 * ppm/1000 / (R T) * captured.
func Aerate(in Aeration) (CarbonSupply, error) {
	if math.IsNaN(in.TempC) {
		in.TempC = usualTempC
	}
	in.CO2Ppm, in.CapturedShare = or(in.CO2Ppm, UsualCO2Ppm), or(in.CapturedShare, 1)
	var c checker
	c.volume("working volume", in.CultureL)
	c.within("airflow", in.AirLPerMin, 0.001, 1e5, "L/min")
	c.within("temperature", in.TempC, -5, 50, "degC")
	c.within("CO2 of the air", in.CO2Ppm, 100, 1e6, "ppm")
	c.within("share captured", in.CapturedShare, 0.001, 1, "")
	c.optional("density", in.DryGPerL, 1e-6, greatestDryGPerL, "g/L dry")
	if err := c.err("plan aeration"); err != nil {
		return CarbonSupply{}, err
	}
	out := CarbonSupply{VVM: in.AirLPerMin / in.CultureL,
		Advice: Advice{Cautions: []Caution{VentOpen, Electricity, Defer}}}
	out.CMmolPerLDay = out.VVM * minutesPerDay * co2MmolPerL(in.TempC, in.CO2Ppm) * in.CapturedShare
	out.CMgPerLDay = out.CMmolPerLDay * molarCarbon
	out.DryGPerLDay = out.CMgPerLDay / 1000 / CarbonShare
	if in.DryGPerL > 0 {
		out.GrowthPerD = out.DryGPerLDay / in.DryGPerL
	}
	in.advise(&out)
	return out, nil
}

func (in Aeration) advise(out *CarbonSupply) {
	if in.CapturedShare == 1 {
		out.assume("All CO2 is taken to be captured, day and night: a vessel captures far less, and its pH rises.")
	}
	if out.VVM < LeastVVM || out.VVM > GreatestVVM {
		out.warn(fmt.Sprintf("%s volumes of air a minute is outside the usual %s to %s.", short(out.VVM), num(LeastVVM), num(GreatestVVM)))
	}
	if in.CO2Ppm > enrichedAbovePpm {
		out.Cautions = append([]Caution{VentilateCO2}, out.Cautions...)
		out.assume("Where CO2 is added, pH is held between 7 and 9.")
	}
	if in.CO2Ppm > SafeCO2Ppm {
		out.warn(fmt.Sprintf("%s ppm is above %s ppm (1 %%), the usual where CO2 is added: it sours the culture and the room.", num(in.CO2Ppm), num(SafeCO2Ppm)))
	}
}

// co2MmolPerL is the CO2 in a litre of air at 1 atm, ideal gas.
func co2MmolPerL(tempC, ppm float64) float64 {
	return ppm / 1000 / (gasLAtmPerMolK * (tempC + zeroC))
}
