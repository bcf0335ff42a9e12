package growth

import (
	"math"
	"testing"
)

// stackloss of R (Brownlee 1965; the data from memory, held by the least-squares
// coefficients below): air flow, water temperature, acid concentration, loss.
var stackloss = [][4]float64{
	{80, 27, 89, 42}, {80, 27, 88, 37}, {75, 25, 90, 37}, {62, 24, 87, 28}, {62, 22, 87, 18}, {62, 23, 87, 18},
	{62, 24, 93, 19}, {62, 24, 93, 20}, {58, 23, 87, 15}, {58, 18, 80, 14}, {58, 18, 89, 14}, {58, 17, 88, 13},
	{58, 18, 82, 11}, {58, 19, 93, 12}, {50, 18, 89, 8}, {50, 18, 86, 7}, {50, 19, 72, 8}, {50, 19, 79, 8},
	{50, 20, 80, 9}, {56, 20, 82, 15}, {70, 20, 91, 15},
}

type plane struct{}

func (plane) Evaluate(p, f, jac []float64) {
	for i, s := range stackloss {
		f[i] = p[0] + p[1]*s[0] + p[2]*s[1] + p[3]*s[2]
		copy(jac[4*i:], []float64{1, s[0], s[1], s[2]})
	}
}

// Coefficients of R's lm and of MASS rlm with psi.huber and psi.bisquare, run
// to 200 iterations. rlm takes the median over 0.6745, a rounding that moves the
// scale by 1.5e-5 of itself; hence the room.
func TestRobustRegression(t *testing.T) {
	var y []float64
	for _, s := range stackloss {
		y = append(y, s[3])
	}
	for _, c := range []struct {
		loss  Loss
		want  [4]float64
		scale float64
	}{
		{Squares, [4]float64{-39.9196744201, 0.7156402005, 1.2952861244, -0.1521225191}, 0},
		{Huber, [4]float64{-41.0264853753, 0.8293857703, 0.9260594156, -0.1278463180}, 2.44048905},
		{Tukey, [4]float64{-42.2853215365, 0.9275589928, 0.6507111984, -0.1123331230}, 2.28185331},
	} {
		r := Fit(Problem{Function: plane{}, Y: y}, make([]float64, 4), Options{Loss: c.loss})
		if r.Status != Converged {
			t.Errorf("loss %d: %v: %s", c.loss, r.Status, r.Why)
		}
		for i, want := range c.want {
			if off(r.P[i], want) > 2e-5 {
				t.Errorf("loss %d: coefficient %d is %.10g, want %.10g", c.loss, i, r.P[i], want)
			}
		}
		if c.scale > 0 && off(r.SD, c.scale) > 3e-5 {
			t.Errorf("loss %d: scale %.9g, want %.9g", c.loss, r.SD, c.scale)
		}
	}
}

// rho, psi and psi' belong together: each is the slope of the one before.
func TestLossSlopes(t *testing.T) {
	for _, l := range []Loss{Squares, Huber, Tukey} {
		for _, u := range []float64{-6, -3.3, -1, -0.2, 0, 0.7, 1.2, 2.5, 4.4, 8} {
			const h = 1e-5
			slope := (l.rho(u+h) - l.rho(u-h)) / (2 * h)
			if psi := l.weight(u) * u; math.Abs(slope-psi) > 1e-8 {
				t.Errorf("loss %d at %g: psi %g, slope of rho %g", l, u, psi, slope)
			}
			bend := (l.weight(u+h)*(u+h) - l.weight(u-h)*(u-h)) / (2 * h)
			if math.Abs(bend-l.bend(u)) > 1e-8 {
				t.Errorf("loss %d at %g: psi' %g, slope of psi %g", l, u, l.bend(u), bend)
			}
		}
	}
}
