package simulate

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// waterShade is how much the medium alone takes from the light, 1/m (choice).
const waterShade = 0.2

// lit returns how brightly the lamp of v burns, 0 to 1. A lamp whose hours are
// not known burns always.
func lit(v *ingest.Vessel, at time.Time) float64 {
	if share := v.Lit(at); !math.IsNaN(share) {
		return share
	}
	return 1
}

// meanLight is the mean over a path of length l (m) of light that enters with
// i0 and is taken away at rate k (1/m), after Beer and Lambert:
//
//	i0 (1 - exp(-kl))/(kl)
func meanLight(i0, k, l float64) float64 {
	kl := k * l
	if kl < 1e-9 {
		return i0
	}
	return i0 * -math.Expm1(-kl) / kl
}

// lightResponse is the gross growth rate under light i, in the unit of muMax:
//
//	muMax i/(i + (muMax/alpha)(i/iOpt - 1)^2)
//
// Bernard & Remond 2012, "Validation of a simple model accounting for light
// and temperature effect on microalgal growth", Bioresour. Technol.
// 123:520-527, equation 3.
func lightResponse(i, muMax, alpha, iOpt float64) float64 {
	if i <= 0 {
		return 0
	}
	d := i/iOpt - 1
	return muMax * i / (i + muMax/alpha*d*d)
}
