package simulate

import (
	"cmp"
	"math"
	"math/rand/v2"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Probe is how the sensors of one vessel measure. The zero Probe measures
// truly.
type Probe struct {
	Noise   float64       // size of all noise beside the usual
	Slow    float64       // size of the slow noise of od beside the rest; 0 is the usual, 1
	Memory  time.Duration // of the slow noise of od; 0 is the usual
	Bubbles float64       // share of od readings with a spike while the air runs as set
	Blank   float64       // od that it shows in clear medium
	Film    float64       // od that dirt adds in a day, until it is wiped
	Leak    float64       // share of the probe's own light that 100 umol m-2 s-1 of lamp add to it
	ODMax   float64       // od at which the photodiode sees nothing more; 0: never
	// Resolution: what is sent is a whole multiple; 0 sends everything.
	ODStep, TempStep, ParStep, AirStep float64
}

// UsualProbe is a cheap photodiode and its fellows, a little different from
// one to the next (choices; 1/16 K is the resolution of a common digital
// thermometer).
func UsualProbe(r *rand.Rand) Probe {
	return Probe{Noise: 0.8 + 0.5*r.Float64(), Bubbles: 0.02 + 0.06*r.Float64(), Blank: 0.004 * r.NormFloat64(), Film: 0.0025 * r.Float64(),
		Leak: 0.003 * r.Float64(), ODMax: 2.5 + 1.5*r.Float64(), ODStep: 0.0001, TempStep: 0.0625, ParStep: 0.1, AirStep: 0.01}
}

// Sizes of the usual noise, all choices: white and slow, of od as a constant
// and as a share, of light and air as a share.
const (
	odWhite, odWhiteShare = 0.0015, 0.004
	odSlow, odSlowShare   = 0.001, 0.006
	odSlowDays            = 4. / 24
	bubbleOD              = 0.012 // mean height of a spike in thin culture
	bubbleODShare         = 0.08
	bubblesDown           = 0.1 // share of the spikes that go down
	tempWhite             = 0.03
	parWhiteShare         = 0.01
	parDark               = 0.15
	airWhiteShare         = 0.015
	airDark               = 0.01
	handOD                = 0.6
)

// sensors is the state of the sensors of one vessel.
type sensors struct {
	Probe
	rng   *rand.Rand
	slow  float64 // slow noise, of standard deviation 1
	film  float64 // od
	stuck float64 // od that it sticks at
}

// seen is what there is to be measured.
type seen struct {
	od, temp, par, air float64
	stir               float64 // air beside what is set
	hand, dry          bool
}

// drift lets dt days pass.
func (s *sensors) drift(dt float64) {
	s.slow = ornstein(s.rng, s.slow, dt, cmp.Or(s.Memory.Hours()/24, odSlowDays))
	s.film += s.Film * dt
}

// ornstein moves a slow noise of standard deviation 1 and the given memory on
// by dt (Ornstein & Uhlenbeck).
func ornstein(r *rand.Rand, v, dt, memory float64) float64 {
	keep := math.Exp(-dt / memory)
	return keep*v + math.Sqrt(1-keep*keep)*r.NormFloat64()
}

// measure appends the readings of one moment. It draws the same number of
// times whatever is wrong.
func (s *sensors) measure(out []ingest.Reading, as ingest.Reading, see *seen, w *wrong) []ingest.Reading {
	od := s.od(see, w)
	temp := see.temp + s.Noise*tempWhite*s.rng.NormFloat64()
	par := see.par*(1+s.Noise*parWhiteShare*s.rng.NormFloat64()) + s.Noise*parDark*math.Abs(s.rng.NormFloat64())
	air := see.air*(1+s.Noise*airWhiteShare*s.rng.NormFloat64()) + s.Noise*airDark*math.Abs(s.rng.NormFloat64())
	if w.tempReads != 0 {
		temp = w.tempReads
	}
	if see.hand {
		par *= 0.4
	}
	add := func(q ingest.Quantity, v, step float64) {
		as.Quantity, as.Value = q, rounded(v, step)
		out = append(out, as)
	}
	if !w.odSilent {
		add(unit.OD, od, s.ODStep)
	}
	add(unit.Temperature, temp, s.TempStep)
	add(unit.Light, math.Max(0, par), s.ParStep)
	add(unit.Airflow, math.Max(0, air), s.AirStep)
	return out
}

func (s *sensors) od(see *seen, w *wrong) float64 {
	white, jump, height, down, hand := s.rng.NormFloat64(), s.rng.Float64(), s.rng.ExpFloat64(), s.rng.Float64(), s.rng.Float64()
	od := see.od + s.Blank + s.film + w.film + cmp.Or(s.Slow, 1)*s.Noise*s.slow*(odSlow+odSlowShare*see.od)
	if s.ODMax > 0 {
		od /= 1 + math.Max(0, od)/s.ODMax // od = true/(1 + true/max), the inverse of the usual correction
	}
	od = stray(od, s.Leak*see.par/100) + s.Noise*white*(odWhite+odWhiteShare*od)
	if jump < s.Bubbles*see.stir {
		spike := height * (bubbleOD + bubbleODShare*od)
		if down < bubblesDown {
			spike = -spike
		}
		od += spike
	}
	od = od*(1+w.gain) + w.bubble*(1+0.2*white)
	switch {
	case see.dry: // air bends the light away from the photodiode now and then
		od = s.Blank + 0.02 + 0.03*white
	case see.hand:
		od += handOD * (0.3 + hand)
	}
	if w.odStuck {
		return s.stuck
	}
	s.stuck = od
	return od
}

// stray returns the od that is seen when the lamp adds a share leak of the
// probe's own light: -log10(10^-od + leak).
func stray(od, leak float64) float64 {
	if leak == 0 {
		return od
	}
	return -math.Log10(math.Pow(10, -od) + leak)
}

// rounded returns the multiple of step nearest to v, written as shortly as
// the step allows.
func rounded(v, step float64) float64 {
	if step == 0 {
		return v
	}
	n := math.Round(v / step)
	if inverse := math.Round(1 / step); math.Abs(inverse*step-1) < 1e-12 {
		return n / inverse
	}
	return n * step
}
