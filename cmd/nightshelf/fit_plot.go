package main

import (
	"bytes"
	_ "embed"
	"encoding/xml"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/template"
	"unicode"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/analysis/growth"
	"github.com/nightshelf/nightshelf/cmd/internal/amounts"
)

//go:embed fit_plot.svg
var plotText string

var plotTemplate = template.Must(template.New("plot").Funcs(template.FuncMap{"x": escaped}).Parse(plotText))

func escaped(s string) (string, error) {
	var b bytes.Buffer
	err := xml.EscapeText(&b, []byte(s))
	return b.String(), err
}

// The picture, in units that are pixels on screen.
const (
	plotWidth     = 640.0
	plotLeft      = 58.0
	plotRight     = 12.0
	plotTop       = 76.0
	plotHeight    = 260.0
	residualTop   = plotTop + plotHeight + 34
	residualsHigh = 90.0
	plotSteps     = 160 // of the drawn curve
)

// plotOf is what the template draws.
type plotOf struct {
	Title, Desc       string
	Says, Why         string
	Band, Line        string
	Points, Residuals []dot
	Y, R, X           []axisTick
	Zero              string // height of no residual, empty where there is no fit
	Scale             string
}

type dot struct{ X, Y string }

type axisTick struct{ At, Text string }

// plotAll draws one curve to a file, or each to a file of its own in a folder.
func plotAll(to string, curves []fittedCurve) error {
	if strings.HasSuffix(to, ".svg") {
		if len(curves) != 1 {
			return errors.New("there is no curve to draw")
		}
		return plotFile(to, &curves[0])
	}
	if err := os.MkdirAll(to, 0o755); err != nil {
		return fmt.Errorf("draw the curves: %w", err)
	}
	digits := len(fmt.Sprint(len(curves)))
	for i := range curves {
		name := fmt.Sprintf("%0*d-%s.svg", digits, i+1, fileName(curves[i].ID))
		if err := plotFile(filepath.Join(to, name), &curves[i]); err != nil {
			return err
		}
	}
	return nil
}

func plotFile(name string, c *fittedCurve) error {
	var b bytes.Buffer
	if err := plotTemplate.Execute(&b, plot(c)); err != nil {
		return fmt.Errorf("draw curve %q: %w", c.ID, err)
	}
	if err := os.WriteFile(name, b.Bytes(), 0o644); err != nil {
		return fmt.Errorf("draw curve %q: %w", c.ID, err)
	}
	return nil
}

// fileName keeps of an id what every file system takes.
func fileName(id string) string {
	const most = 40
	s := strings.Map(func(r rune) rune {
		if r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r)) || r == '-' || r == '_' {
			return r
		}
		return '_'
	}, id)
	return s[:min(len(s), most)]
}

// plot lays a curve out: data and chosen fit above, what is left under it.
func plot(c *fittedCurve) plotOf {
	p := plotOf{Title: "Curve " + c.ID, Says: verdictWords(c), Why: c.Why}
	t, v := pointsOf(c.Curve)
	if len(t) == 0 {
		p.Desc = "No value. " + p.words()
		return p
	}
	x := plotScale{lo: slices.Min(t), hi: slices.Max(t), a: plotLeft + 6, b: plotWidth - plotRight - 6}
	x.widenTime()
	var band []analysis.Interval
	if f := c.fit(); f != nil {
		for k := range plotSteps + 1 {
			band = append(band, f.Density(x.lo+(x.hi-x.lo)*float64(k)/plotSteps))
		}
	}
	y := valueScale(v, band)
	p.Scale = "value"
	if y.log {
		p.Scale = "value, log scale"
	}
	for i := range t {
		p.Points = append(p.Points, dot{onPage(x.at(t[i])), onPage(y.at(v[i]))})
	}
	p.X, p.Y = x.ticks(9), y.ticks(6)
	p.curve(x, y, band)
	p.residuals(c, x, t, v)
	p.Desc = fmt.Sprintf("%d values from %s to %s over %s days. %s", len(v), amounts.Digits(v[0]), amounts.Digits(v[len(v)-1]), amounts.Digits(slices.Max(t)-slices.Min(t)), p.words())
	return p
}

func (p *plotOf) words() string {
	if p.Why == "" {
		return p.Says + "."
	}
	return p.Says + "; " + p.Why + "."
}

// curve draws the fit and its interval.
func (p *plotOf) curve(x, y plotScale, band []analysis.Interval) {
	var line, back strings.Builder
	var up []string
	for k, b := range band {
		at := x.lo + (x.hi-x.lo)*float64(k)/plotSteps
		if !y.holds(b.Likely) {
			continue
		}
		pen := "L"
		if line.Len() == 0 {
			pen = "M"
		}
		line.WriteString(pen + onPage(x.at(at)) + " " + onPage(y.at(b.Likely)))
		if y.holds(b.Low) && y.holds(b.High) {
			up = append(up, onPage(x.at(at))+" "+onPage(y.at(b.High)))
			back.WriteString("L" + onPage(x.at(x.lo+(x.hi-x.lo)*float64(k)/plotSteps)) + " " + onPage(y.at(b.Low)) + ";")
		}
	}
	p.Line = line.String()
	if len(up) < 2 {
		return
	}
	low := strings.Split(strings.TrimSuffix(back.String(), ";"), ";")
	p.Band = "M" + strings.Join(up, "L")
	for i := len(low) - 1; i >= 0; i-- {
		p.Band += low[i]
	}
	p.Band += "Z"
}

// residuals draws value less curve on a linear scale.
func (p *plotOf) residuals(c *fittedCurve, x plotScale, t, v []float64) {
	f := c.fit()
	if f == nil {
		return
	}
	left, most := make([]float64, len(t)), 0.0
	for i := range t {
		left[i] = v[i] - f.Density(t[i]).Likely
		if !math.IsInf(left[i], 0) {
			most = math.Max(most, math.Abs(left[i]))
		}
	}
	if most == 0 {
		most = 1
	}
	r := plotScale{lo: -most * 1.1, hi: most * 1.1, a: residualTop + residualsHigh, b: residualTop}
	p.Zero, p.R = onPage(r.at(0)), r.ticks(3)
	for i := range t {
		p.Residuals = append(p.Residuals, dot{onPage(x.at(t[i])), onPage(r.at(left[i]))})
	}
}

// fit is the chosen fit, nil where there is none.
func (c *fittedCurve) fit() *growth.Fitted {
	if c.Chosen < 0 {
		return nil
	}
	return &c.Fits[c.Chosen]
}

// verdictWords say in a line what came of a curve.
func verdictWords(c *fittedCurve) string {
	var say []string
	say = append(say, string(c.Course))
	if f := c.fit(); f != nil {
		say = append(say, f.Model.Name)
		if c.Mu.Known() {
			word := "steepest mu "
			if f.Model.Potential {
				word = "potential mu "
			}
			say = append(say, word+amounts.Digits(c.Mu.Likely)+" ("+amounts.Digits(c.Mu.Low)+" to "+amounts.Digits(c.Mu.High)+") 1/d")
		}
	}
	return strings.Join(say, "; ")
}

// pointsOf are the values of a curve that are numbers.
func pointsOf(c growth.Curve) (t, v []float64) {
	for i := range c.Days {
		if !math.IsNaN(c.Values[i]) {
			t, v = append(t, c.Days[i]), append(v, c.Values[i])
		}
	}
	return t, v
}
