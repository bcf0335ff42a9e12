package page

import (
	"math"
	"strings"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// drawing is one vessel as it stands under its lamp, 72 by 104 units.
type drawing struct {
	ID          string // by which the picture is drawn again elsewhere on the page
	Title, Desc string
	Outline     string // path of the glass
	Liquid      string // path of what is in it, empty if nothing is
	Surface     string // path of its level
	Guess       bool   // the level is not known
	Tint        string // #rrggbb
	Lamp        string // "lit", "dark" or "" where it is not known
	Tube        string // path of the air line
	Bubbles     string // path of what rises from it
	Trouble     bool
}

const (
	drawnMiddle = 36.0
	drawnFloor  = 100.0
	drawnHeight = 86.0 // of a vessel of its kind's full size
	leastDrawn  = 0.5  // of that: a small flask must still be seen
	fullTo      = 0.86 // of the height from floor to shoulder, if the level is not known
)

// glass is the outline of one kind of vessel: half widths at heights, from the
// floor up, both as parts of the drawn height; shoulder is where the volume
// ends and fullL the volume that is drawn at full height.
type glass struct {
	profile  [][2]float64 // height, half width
	shoulder float64
	fullL    float64
}

// glasses are the kinds. A kind that is not among them is drawn as a carboy.
var glasses = map[string]glass{
	"carboy": {profile: [][2]float64{{0, .26}, {.01, .29}, {.03, .305}, {.68, .305}, {.74, .29}, {.79, .255}, {.83, .2},
		{.86, .14}, {.88, .11}, {.96, .11}, {.965, .125}, {1, .125}}, shoulder: .76, fullL: 20},
	"flask": {profile: [][2]float64{{0, .3}, {.02, .335}, {.05, .345}, {.1, .335}, {.6, .12}, {.66, .1}, {.78, .1}, {.79, .125}, {.82, .125}},
		shoulder: .56, fullL: 5},
	"bag": {profile: [][2]float64{{0, .03}, {.03, .16}, {.07, .22}, {.13, .25}, {.3, .262}, {.6, .255}, {.8, .245}, {.9, .24}, {.93, .17},
		{.96, .1}, {1, .08}}, shoulder: .9, fullL: 60},
	"column": {profile: [][2]float64{{0, .21}, {.035, .21}, {.036, .165}, {.96, .165}, {.961, .19}, {1, .19}}, shoulder: .95, fullL: 60},
	"tank":   {profile: [][2]float64{{0, .36}, {.02, .38}, {.58, .39}, {.581, .41}, {.62, .41}}, shoulder: .57, fullL: 300},
}

// draw makes the drawing of a vessel.
func draw(v VesselView, c clock) drawing {
	g, ok := glasses[v.Vessel.Kind]
	if !ok {
		g = glasses["carboy"]
	}
	size := drawnHeight * g.size(v.Vessel.VolumeL)
	d := drawing{
		Outline: g.outline(size),
		Tint:    tint(v.Estimate.Density.Likely),
		Trouble: worst(v.Alarms) != nil,
		Lamp:    lamp(v, c),
	}
	if level, known := filled(v); level > 0 {
		h := level * g.shoulder
		d.Liquid, d.Surface = g.liquid(h, size)
		d.Guess = !known
	}
	if air, ok := fresh(v, unit.Airflow, c); ok && g.profile != nil {
		d.Tube = tube(g, size)
		if air > leastAir {
			d.Bubbles = bubbles(g, size)
		}
	}
	d.Title = drawingTitle(v)
	d.Desc = drawingDesc(v, d)
	return d
}

// leastAir is the flow below which no bubbles are drawn, L/min; leastLight
// that below which the lamp is drawn dark, umol photons m-2 s-1.
const (
	leastAir   = 0.05
	leastLight = 3
)

func lamp(v VesselView, c clock) string {
	switch par, ok := fresh(v, unit.Light, c); {
	case !ok:
		return ""
	case par >= leastLight:
		return "lit"
	}
	return "dark"
}

// filled returns how full the vessel is, 0 to 1, and whether that is known.
func filled(v VesselView) (level float64, known bool) {
	switch {
	case v.FilledL > 0 && v.Vessel.VolumeL > 0:
		return min(v.FilledL/v.Vessel.VolumeL, 1), true
	case v.Estimate.Phase == analysis.Empty || v.Estimate.Phase == "":
		return 0, false
	}
	return fullTo, false
}

// size returns the drawn size of a vessel as a part of its kind's full size.
// Lengths go with the cube root of the volume.
func (g glass) size(volumeL float64) float64 {
	if volumeL <= 0 || !finite(volumeL) {
		return 1
	}
	return min(max(math.Cbrt(volumeL/g.fullL), leastDrawn), 1)
}

// half returns the half width at a height.
func (g glass) half(h float64) float64 {
	p := g.profile
	for i := 1; i < len(p); i++ {
		if h <= p[i][0] {
			f := (h - p[i-1][0]) / (p[i][0] - p[i-1][0])
			return p[i-1][1] + f*(p[i][1]-p[i-1][1])
		}
	}
	return p[len(p)-1][1]
}

// outline is the glass: down the left side, along the floor and up the right;
// it is open at the top.
func (g glass) outline(size float64) string {
	var p path
	n := len(g.profile)
	for i := range 2 * n {
		side, k := -1.0, n-1-i
		if i >= n {
			side, k = 1, i-n
		}
		x, y := drawnMiddle+side*g.profile[k][1]*size, drawnFloor-g.profile[k][0]*size
		if i == 0 {
			p.move(x, y)
		} else {
			p.line(x, y)
		}
	}
	return p.String()
}

// liquid is the glass up to a height, a little inside of it, and its surface.
func (g glass) liquid(h, size float64) (body, surface string) {
	const inside = 1.5
	y := min(drawnFloor-h*size, drawnFloor-inside)
	w := max(g.half(h)*size-inside, 0)
	below := func(q [2]float64) (half, at float64) {
		return max(q[1]*size-inside, 0), min(drawnFloor-q[0]*size, drawnFloor-inside)
	}
	var p, s path
	p.move(drawnMiddle-w, y)
	for i := len(g.profile) - 1; i >= 0; i-- {
		if q := g.profile[i]; q[0] < h {
			half, at := below(q)
			p.line(drawnMiddle-half, at)
		}
	}
	for _, q := range g.profile {
		if q[0] < h {
			half, at := below(q)
			p.line(drawnMiddle+half, at)
		}
	}
	p.line(drawnMiddle+w, y)
	p.close()
	s.move(drawnMiddle-w, y)
	s.line(drawnMiddle+w, y)
	return p.String(), s.String()
}

// tube is the air line, from above the neck to near the floor.
func tube(g glass, size float64) string {
	var p path
	top := g.profile[len(g.profile)-1][0]
	p.move(drawnMiddle+3, drawnFloor-top*size-4)
	p.line(drawnMiddle+3, drawnFloor-0.1*size)
	return p.String()
}

// bubbles rise beside the tube: strokes of no length, round at their ends.
func bubbles(g glass, size float64) string {
	var p path
	for i, dx := range []float64{-2, -5, -1, -6} {
		h := (0.14 + 0.2*float64(i)) * g.shoulder
		p.move(drawnMiddle+dx, drawnFloor-h*size)
		p.line(drawnMiddle+dx, drawnFloor-h*size)
	}
	return p.String()
}

func drawingTitle(v VesselView) string {
	kind := v.Vessel.Kind
	if kind == "" {
		kind = "vessel"
	}
	t := isolate(v.Vessel.Name) + ", " + kind
	if v.Vessel.VolumeL > 0 {
		t += " of " + plain(v.Vessel.VolumeL) + " L"
	}
	return t
}

func drawingDesc(v VesselView, d drawing) string {
	var say []string
	switch {
	case d.Liquid == "":
		say = append(say, "nothing known to be in it")
	case d.Guess:
		say = append(say, "level "+notKnown)
	default:
		say = append(say, "about "+plain(v.FilledL)+" L in it")
	}
	if v.Estimate.Density.Known() {
		say = append(say, "density "+figure(v.Estimate.Density.Likely))
	}
	if d.Lamp != "" {
		say = append(say, "lamp "+d.Lamp)
	}
	switch {
	case d.Bubbles != "":
		say = append(say, "air bubbling")
	case d.Tube != "":
		say = append(say, "no air")
	}
	return sentence(strings.Join(say, ", "))
}
