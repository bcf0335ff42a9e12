package growth

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Values computed from the published equations, whose own inflection and
// tangent were checked apart (no table of the authors could be had):
// A = 4, mu = 0.9, lag = 1.5.
func TestModelTables(t *testing.T) {
	times := []float64{0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 14}
	base := []float64{0, 4, 0.9, 1.5}
	shape := func(v float64) []float64 { return append(append([]float64{}, base...), v) }
	for _, c := range []struct {
		name string
		m    *Model
		p    []float64
		want []float64
	}{
		{"Gompertz", Gompertz, base, []float64{0.00444005, 0.02665989, 0.09982159, 0.26395214, 0.54020912, 1.35014087,
			2.21914114, 2.90572281, 3.36326680, 3.80102889, 3.94038915, 3.99480222}},
		{"logistic", ModifiedLogistic, base, []float64{0.13558066, 0.20861425, 0.31775420, 0.47681169, 0.70034507,
			1.37195815, 2.24870600, 3.03804367, 3.54379047, 3.91665462, 3.98597925, 3.99961559}},
		{"Richards 1", Richards, shape(1), []float64{0.13558066, 0.20861425, 0.31775420, 0.47681169, 0.70034507,
			1.37195815, 2.24870600, 3.03804367, 3.54379047, 3.91665462, 3.98597925, 3.99961559}},
		{"Richards 0.5", Richards, shape(0.5), []float64{0.06249943, 0.11937690, 0.21879618, 0.38084091, 0.62347899,
			1.35627885, 2.24208703, 2.98764132, 3.47094597, 3.87426332, 3.97194729, 3.99864797}},
		{"Richards 2", Richards, shape(2), []float64{0.26203420, 0.35039369, 0.46792264, 0.62339583, 0.82708859,
			1.41821725, 2.25001952, 3.09426516, 3.63866391, 3.96036443, 3.99612342, 3.99996385}},
		{"Baranyi", Baranyi, base, []float64{0, 0.13474218, 0.31400811, 0.54084538, 0.81315211, 1.46183933,
			2.16900676, 2.82871661, 3.34668099, 3.85674098, 3.97481376, 3.99930308}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for i, at := range times {
				if got := c.m.Value(c.p, at); math.Abs(got-c.want[i]) > 6e-9 {
					t.Errorf("at %g: %.8f, want %.8f", at, got, c.want[i])
				}
			}
		})
	}
}

// N of the logistic with K = 10, N0 = 0.1, r = 1, computed from its equation.
func TestLogisticTable(t *testing.T) {
	p := []float64{math.Log(0.1), math.Log(10), 1}
	for at, want := range map[float64]float64{1: 0.267236310, 2: 0.694531597, 4: 3.554609871, 6: 8.029571527, 8: 9.678567044,
		10: 9.955255179, math.Log(99): 5} {
		if got := math.Exp(Logistic.Value(p, at)); math.Abs(got-want) > 1e-9 {
			t.Errorf("at %g: %.9f, want %.9f", at, got, want)
		}
	}
}

// The steepest slope and the tangent's lag, where the model promises them:
// inflection times computed from the equations.
func TestInflections(t *testing.T) {
	base := []float64{0, 4, 0.9, 1.5}
	for _, c := range []struct {
		m  *Model
		v  float64
		at float64
	}{{Gompertz, 0, 3.135034}, {ModifiedLogistic, 0, 3.722222}, {Richards, 0.5, 3.475341}, {Richards, 2, 4.066006}} {
		p := base
		if c.v > 0 {
			p = append(append([]float64{}, base...), c.v)
		}
		slope := (c.m.Value(p, c.at+1e-4) - c.m.Value(p, c.at-1e-4)) / 2e-4
		if math.Abs(slope-0.9) > 1e-7 {
			t.Errorf("%s: slope %g at the inflection, want 0.9", c.m.Name, slope)
		}
		if lag := c.at - c.m.Value(p, c.at)/slope; math.Abs(lag-1.5) > 2e-6 {
			t.Errorf("%s: tangent meets the start at %g, want 1.5", c.m.Name, lag)
		}
	}
	// Baranyi's mu is not the slope seen: 0.711810 at t = 3.5529 (computed).
	slope := (Baranyi.Value(base, 3.5530) - Baranyi.Value(base, 3.5528)) / 2e-4
	if math.Abs(slope-0.711810) > 2e-6 {
		t.Errorf("Baranyi's steepest slope is %g, want 0.711810", slope)
	}
}

func TestDerivatives(t *testing.T) {
	for _, m := range Models {
		t.Run(m.Name, func(t *testing.T) {
			rapid.Check(t, func(r *rapid.T) {
				p := drawParameters(r, m)
				at := rapid.Float64Range(0, 15).Draw(r, "t")
				_, gradient := m.At(p, at)
				for j := range p {
					got, want := gradient[j], slopeBy(m, p, j, at)
					if math.Abs(got-want) > 1e-5*(1+math.Abs(want)) {
						r.Fatalf("by %s at t = %g, p = %v: %g, by differences %g", m.Parameters[j].Name, at, p, got, want)
					}
				}
			})
		})
	}
}

func drawParameters(r *rapid.T, m *Model) []float64 {
	p := make([]float64, len(m.Parameters))
	for i, q := range m.Parameters {
		low, high := -3.0, 0.0
		switch q {
		case Plateau:
			low, high = 0.5, 5
		case Mu:
			low, high = 0.05, 3
		case Lag:
			low, high = 0, 6
		case Shape:
			low, high = 0.05, 5
		}
		p[i] = rapid.Float64Range(low, high).Draw(r, q.Name)
	}
	return p
}

// slopeBy is a central difference with Richardson's correction.
func slopeBy(m *Model, p []float64, j int, at float64) float64 {
	d := func(h float64) float64 {
		q := append([]float64{}, p...)
		q[j] = p[j] + h
		up := m.Value(q, at)
		q[j] = p[j] - h
		return (up - m.Value(q, at)) / (2 * h)
	}
	return (4*d(5e-4) - d(1e-3)) / 3
}

// Within what a fit may try, every model stays finite.
func TestModelsStayFinite(t *testing.T) {
	for _, m := range Models {
		rapid.Check(t, func(r *rapid.T) {
			o := outline{low: rapid.Float64Range(-30, 10).Draw(r, "low"), span: rapid.Float64Range(1e-3, 1e4).Draw(r, "span")}
			o.high = o.low + rapid.Float64Range(0, 20).Draw(r, "rise")
			o.fastest = 20 * (o.high - o.low + 1) * 48 / o.span
			low, high := o.bounds(m)
			p := make([]float64, len(low))
			for i := range p {
				p[i] = rapid.Float64Range(low[i], high[i]).Draw(r, m.Parameters[i].Name)
			}
			v, g := m.At(p, rapid.Float64Range(0, o.span).Draw(r, "t"))
			for _, x := range append(g, v) {
				if !finite(x) {
					r.Fatalf("%s at %v: %g, %v", m.Name, p, v, g)
				}
			}
		})
	}
}
