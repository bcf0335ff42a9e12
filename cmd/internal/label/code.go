package label

import (
	"fmt"
	"strings"

	qr "github.com/piglig/go-qr"
)

const (
	// quiet is the light margin that belongs to a code, in modules
	// (ISO/IEC 18004: four).
	quiet = 4
	// leastModule is the smallest module that a phone reads at a hand's breadth
	// from an ordinary print, in mm (common practice).
	leastModule = 0.35
)

// code is a code as a picture: side modules wide, its quiet margin included.
type code struct {
	side int
	path string // the dark modules
}

// encode makes the code of an address. A quarter of it may be scratched or
// splashed with salt and it still reads (correction level Q).
func encode(url string) (code, error) {
	q, err := qr.EncodeText(url, qr.Quartile)
	if err != nil {
		return code{}, fmt.Errorf("code of the address %.60q: %w", url, err)
	}
	c := code{side: q.Size() + 2*quiet}
	var b strings.Builder
	for y := range q.Size() {
		for x := 0; x < q.Size(); x++ {
			from := x
			for x < q.Size() && q.Module(x, y) {
				x++
			}
			if x > from {
				_, _ = fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", from+quiet, y+quiet, x-from, x-from)
			}
		}
	}
	c.path = b.String()
	return c, nil
}

// What stands in the place of a code, in lines as short as that place is
// narrow.
var (
	noAddress = []string{"no code:", "the room has no", "address that a", "phone can reach"}
	noRoom    = []string{"no code:", "the address of", "the page is too", "long for this", "label"}
)

// codeOf returns the code of a label that has a square of so many mm for it,
// or what to say instead.
func codeOf(l Label, mm float64) (c code, instead []string) {
	if l.URL == "" {
		return c, noAddress
	}
	c, err := encode(l.URL)
	if err != nil || mm < leastModule*float64(c.side) {
		return code{}, noRoom
	}
	return c, nil
}
