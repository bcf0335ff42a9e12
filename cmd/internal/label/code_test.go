package label

import (
	"image"
	"image/color"
	"regexp"
	"strconv"
	"strings"
	"testing"

	qr "github.com/piglig/go-qr"
)

var run = regexp.MustCompile(`^M(\d+) (\d+)h(\d+)v1h-(\d+)z`)

// modules draws a path of ours again, one pixel a module.
func modules(t *testing.T, c code) *image.Gray {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, c.side, c.side))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	for rest := c.path; rest != ""; {
		m := run.FindStringSubmatch(rest)
		if m == nil || m[3] != m[4] {
			t.Fatalf("path goes on with %.30q", rest)
		}
		x, _ := strconv.Atoi(m[1])
		y, _ := strconv.Atoi(m[2])
		n, _ := strconv.Atoi(m[3])
		for i := range n {
			img.SetGray(x+i, y, color.Gray{})
		}
		rest = rest[len(m[0]):]
	}
	return img
}

func TestCodeIsTheLibrarysInAQuietMargin(t *testing.T) {
	for _, url := range []string{"https://shelf.saltmeadow.example/vessel/C07", "http://192.0.2.7:8470/vessel/%3Cscript%3E", "HTTPS://X.EXAMPLE/1"} {
		c, err := encode(url)
		if err != nil {
			t.Fatal(err)
		}
		want, err := qr.EncodeText(url, qr.Quartile)
		if err != nil {
			t.Fatal(err)
		}
		img := modules(t, c)
		if c.side != want.Size()+8 {
			t.Fatalf("%d modules wide, want %d and 4 on either side", c.side, want.Size())
		}
		for y := range c.side {
			for x := range c.side {
				dark := img.GrayAt(x, y).Y == 0
				inside := x >= 4 && y >= 4 && x < c.side-4 && y < c.side-4
				if dark != (inside && want.Module(x-4, y-4)) {
					t.Fatalf("%s: module %d, %d is dark: %v", url, x, y, dark)
				}
			}
		}
	}
}

// The level of correction stands in the code itself, beside its upper left
// finder: the two bits of a format that is masked with 101010000010010
// (ISO/IEC 18004, format information; from memory): 11 is Q, 10 is H.
func TestCodeBearsDamage(t *testing.T) {
	for n := 1; n < 200; n += 7 {
		c, err := encode("https://shelf.example/" + strings.Repeat("a", n))
		if err != nil {
			t.Fatal(err)
		}
		img := modules(t, c)
		first, second := img.GrayAt(4, 4+8).Y == 0, img.GrayAt(4+1, 4+8).Y == 0
		if level := [2]bool{!first, second}; !level[0] {
			t.Errorf("%d letters: level bits %v; want Q or H", n, level)
		}
	}
}
