package page

import (
	"math"
	"strconv"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
)

// scale brings a value to a place on a drawing.
type scale struct {
	lo, hi float64 // values at the ends, after the logarithm where log is set
	a, b   float64 // places of lo and hi
	log    bool
}

// at returns the place of v, kept within the ends.
func (s scale) at(v float64) float64 {
	if s.log {
		v = math.Log(v)
	}
	f := (v - s.lo) / (s.hi - s.lo)
	return s.a + min(max(f, 0), 1)*(s.b-s.a)
}

// holds reports whether v has a place.
func (s scale) holds(v float64) bool { return finite(v) && (!s.log || v > 0) }

// timeScale brings a time to a place on a drawing.
type timeScale struct {
	from, to time.Time
	a, b     float64
}

func (s timeScale) at(t time.Time) float64 {
	f := float64(t.Sub(s.from)) / float64(max(s.to.Sub(s.from), 1))
	return s.a + min(max(f, 0), 1)*(s.b-s.a)
}

func (s timeScale) holds(t time.Time) bool { return !t.Before(s.from) && !t.After(s.to) }

// path collects the data of an SVG path, in tenths of a unit. Its strokes are
// written as steps from the rounded point before, which is short and does not
// drift.
type path struct {
	data []byte
	x, y int // the point it stands at, tenths of a unit
}

// move lifts the pen to a point.
func (p *path) move(x, y float64) {
	p.x, p.y = tenths(x), tenths(y)
	p.data = append(p.data, 'M')
	p.data = short(p.data, p.x)
	p.data = apart(p.data, p.y)
	p.data = append(p.data, 'l')
}

// line draws to a point.
func (p *path) line(x, y float64) {
	nx, ny := tenths(x), tenths(y)
	p.data = apart(p.data, nx-p.x)
	p.data = apart(p.data, ny-p.y)
	p.x, p.y = nx, ny
}

func (p *path) close() { p.data = append(p.data, 'Z') }

func (p *path) String() string { return string(p.data) }

func tenths(v float64) int { return int(math.Round(v * 10)) }

// short writes tenths as a number without a needless zero.
func short(b []byte, t int) []byte {
	if t < 0 {
		b, t = append(b, '-'), -t
	}
	if t >= 10 || t == 0 {
		b = strconv.AppendInt(b, int64(t/10), 10)
	}
	if t%10 != 0 {
		b = append(b, '.', byte('0'+t%10))
	}
	return b
}

// apart writes a number after another, with a space where they would run
// together.
func apart(b []byte, t int) []byte {
	if t >= 0 && len(b) > 0 && b[len(b)-1] >= '0' && b[len(b)-1] <= '9' {
		b = append(b, ' ')
	}
	return short(b, t)
}

// coordinate writes a coordinate to a tenth of a unit.
func coordinate(v float64) string { return string(short(nil, tenths(v))) }

// gapFactor is how many usual steps may pass between two points before the
// line between them is left out: a line is drawn only where something was seen.
const gapFactor = 6

// line draws points that have a place, and leaves gaps where nothing was
// measured for long.
func line(points []analysis.Point, x timeScale, y scale) string {
	var p path
	gap := usualStep(points) * gapFactor
	var last time.Time
	for _, q := range points {
		if !y.holds(q.Value) || !x.holds(q.At) {
			continue
		}
		if last.IsZero() || q.At.Sub(last) > gap {
			p.move(x.at(q.At), y.at(q.Value))
		}
		p.line(x.at(q.At), y.at(q.Value)) // after a move: a lone point is a dot
		last = q.At
	}
	return p.String()
}

// usualStep is the time between two points at an even spread.
func usualStep(points []analysis.Point) time.Duration {
	if len(points) < 2 {
		return 0
	}
	return points[len(points)-1].At.Sub(points[0].At) / time.Duration(len(points)-1)
}

// area draws the band between low and high.
func area(band []CourseBand, x timeScale, y scale) string {
	var p path
	var back []CourseBand
	for _, b := range band {
		if !y.holds(b.Low) || !y.holds(b.High) || !x.holds(b.At) {
			continue
		}
		if len(back) == 0 {
			p.move(x.at(b.At), y.at(b.High))
		} else {
			p.line(x.at(b.At), y.at(b.High))
		}
		back = append(back, b)
	}
	if len(back) < 2 {
		return ""
	}
	for i := len(back) - 1; i >= 0; i-- {
		p.line(x.at(back[i].At), y.at(back[i].Low))
	}
	p.close()
	return p.String()
}

// thin keeps at most n of the elements, evenly, the last among them.
func thin[T any](s []T, n int) []T {
	if len(s) <= n || n < 2 {
		return s
	}
	out := make([]T, 0, n)
	for i := range n {
		out = append(out, s[i*(len(s)-1)/(n-1)])
	}
	return out
}
