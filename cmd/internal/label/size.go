package label

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Size is the size of a label in millimetres.
type Size struct{ Width, Height float64 }

// Carboy is a label for a carboy; Roll one of the tape of common label
// printers.
var (
	Carboy = Size{90, 50}
	Roll   = Size{62, 29}
)

// The limits of a label, in millimetres: smaller ones cannot be read at arm's
// length or scanned, larger ones do not fit on a sheet. It lies: the text has
// its place to the left of the code.
const (
	leastWidth  = 40
	leastHeight = 20
	mostWidth   = sheetWidth
	leastAspect = 1.3 // width by height
)

// ParseSize reads a size such as 90x50: width by height in millimetres.
func ParseSize(text string) (Size, error) {
	w, h, ok := strings.Cut(strings.TrimSuffix(text, "mm"), "x")
	width, err1 := strconv.ParseFloat(w, 64)
	height, err2 := strconv.ParseFloat(h, 64)
	if !ok || err1 != nil || err2 != nil {
		return Size{}, fmt.Errorf("size %q is not width by height in millimetres, such as %s", text, Carboy)
	}
	s := Size{width, height}
	return s, s.Check()
}

// Check says what is wrong with s, if anything is.
func (s Size) Check() error {
	switch {
	case !(s.Width >= leastWidth && s.Width <= mostWidth): // also false for NaN
		return fmt.Errorf("a label of %s mm: the width must be %d to %d mm", s, leastWidth, mostWidth)
	case !(s.Height >= leastHeight):
		return fmt.Errorf("a label of %s mm: the height must be %d mm or more", s, leastHeight)
	case !(s.Width >= leastAspect*s.Height):
		return fmt.Errorf("a label of %s mm: it must lie, its width at least %s times its height", s, number(leastAspect))
	}
	return nil
}

// String is s as it is typed.
func (s Size) String() string { return number(s.Width) + "x" + number(s.Height) }

// number writes v with at most three decimals: thousandths of a millimetre.
func number(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
}
