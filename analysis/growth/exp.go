package growth

import "math"

// Exponentials and logarithms of many values at a time. A fit is mostly these:
// worked out side by side, they take less than half the time of one call
// of math.Exp after the other.

// The tables have 2^tableBits parts of an octave.
const (
	tableBits = 7
	tableSize = 1 << tableBits
	tableMask = tableSize - 1
)

// powers holds the bits of 2^(j/128).
var powers = func() (t [tableSize]uint64) {
	for j := range t {
		t[j] = math.Float64bits(math.Exp2(float64(j) / tableSize))
	}
	return t
}()

const (
	perStep = tableSize / math.Ln2
	// A step is ln 2/128, here in two parts: products of the first with whole
	// numbers are exact.
	stepHigh = 6.93147180369123816490e-01 / tableSize
	stepLow  = 1.90821492927058770002e-10 / tableSize
	// toWhole rounds what is added to it to a whole number, in its lowest bits.
	toWhole = 0x1.8p52
	// farthest bounds exponents: e^700 is near the greatest number.
	farthest = 700
)

// expAll replaces each x by e^x, within two units of the last place; exponents
// beyond 700 either way are taken as that.
//
//	x = (k/128) ln 2 + r,  |r| <= ln 2/256
//	e^x = 2^(k/128) (1 + r + r^2/2 + r^3/6 + r^4/24 + r^5/120)
//
// (Tang 1989, ACM Trans. Math. Softw. 15:144-157).
func expAll(x []float64) {
	for i, v := range x {
		if v > farthest {
			v = farthest
		} else if v < -farthest {
			v = -farthest
		}
		whole := v*perStep + toWhole
		k := math.Float64bits(whole)
		whole -= toWhole
		r := v - whole*stepHigh - whole*stepLow
		r2 := r * r
		p := r + r2*(0.5+r*(1./6)+r2*(1./24+r*(1./120)))
		s := math.Float64frombits(powers[k&tableMask] + k>>tableBits<<52)
		x[i] = s + s*p
	}
}

// centre is 1/c for the middle c of a part of the numbers from 11/16 to 11/8,
// and ln c.
type centre struct{ inverse, log float64 }

// lowest are the bits of 11/16.
const lowest = 0x3fe6000000000000

var centres = func() (t [tableSize]centre) {
	for i := range t {
		bits := uint64(lowest) + uint64(i)<<(52-tableBits) + 1<<(51-tableBits)
		bits -= (bits - lowest) & (0xfff << 52)
		t[i].inverse = 1 / math.Float64frombits(bits)
		t[i].log = -math.Log(t[i].inverse)
	}
	return t
}()

// logAll replaces each x, a normal number above zero, by ln x, to within 3e-16 or
// two units of the last place, whichever is more.
//
//	x = 2^k c (1 + r),  |r| <= 1/170
//	ln x = k ln 2 + ln c + r - r^2/2 + r^3/3 - r^4/4 + r^5/5 - r^6/6
func logAll(x []float64) {
	for i, v := range x {
		bits := math.Float64bits(v)
		above := bits - lowest
		k := float64(int64(above) >> 52)
		c := &centres[above>>(52-tableBits)&tableMask]
		z := math.Float64frombits(bits - above&(0xfff<<52))
		r := z*c.inverse - 1
		r2 := r * r
		p := r2 * (-0.5 + r*(1./3) + r2*(-1./4+r*(1./5)-r2*(1./6)))
		x[i] = k*math.Ln2 + c.log + (r + p) + (v - v) // what is no number stays none
	}
}
