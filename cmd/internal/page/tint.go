package page

import (
	"fmt"
	"math"
)

// medium is pale seawater in the lamp's light, and absorb how much of its red,
// green and blue one unit of density takes away. Blue goes first and green
// last, as through any culture with chlorophyll and carotenoids; the figures
// are chosen for the eye and stand for no strain. depth is as dark as a
// drawing gets: it must still look like a liquid on a black screen.
var (
	medium = [3]float64{226, 236, 222}
	absorb = [3]float64{0.80, 0.50, 1.70}
	depth  = [3]float64{38, 52, 20}
)

// tint returns the colour of a culture, #rrggbb: pale at no density, darker
// with each more, after the law of Beer and Lambert. A density that is not
// known, or below zero, is that of the medium alone.
func tint(od float64) string {
	if !finite(od) || od < 0 {
		od = 0
	}
	var c [3]int
	for i := range c {
		c[i] = int(math.Round(depth[i] + (medium[i]-depth[i])*math.Exp(-absorb[i]*od)))
	}
	return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2])
}
