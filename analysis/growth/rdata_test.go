package growth

import (
	"math"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/num/dual"
)

// R's data sets and what nls() and its self-starting models make of them, each
// re-solved in 40 digits; where they come from is told in
// testdata/r_datasets/SOURCE.
const rFolder = "../../testdata/r_datasets"

var rFormulas = map[string]func(b []number, x []float64) number{
	"SSlogis": func(b []number, x []float64) number {
		return div(b[0], add(num(1), dual.Exp(div(sub(b[1], num(x[0])), b[2]))))
	},
	"SSfpl": func(b []number, x []float64) number {
		return add(b[0], div(sub(b[1], b[0]), add(num(1), dual.Exp(div(sub(b[2], num(x[0])), b[3])))))
	},
	"SSgompertz": func(b []number, x []float64) number {
		return mul(b[0], dual.Exp(neg(mul(b[1], dual.Exp(dual.Scale(x[0], dual.Log(b[2])))))))
	},
	"SSasymp": func(b []number, x []float64) number {
		return add(b[0], mul(sub(b[1], b[0]), dual.Exp(dual.Scale(-x[0], dual.Exp(b[2])))))
	},
	"SSweibull": func(b []number, x []float64) number {
		return sub(b[0], mul(b[1], dual.Exp(neg(mul(dual.Exp(b[2]), pow(num(x[0]), b[3]))))))
	},
	"SSmicmen": func(b []number, x []float64) number { return div(dual.Scale(x[0], b[0]), add(b[1], num(x[0]))) },
	"SSbiexp": func(b []number, x []float64) number {
		return add(decay(b[0], dual.Exp(b[1]), x[0]), decay(b[2], dual.Exp(b[3]), x[0]))
	},
}

// rSets tells where the points of a fit stand.
var rSets = map[string]struct{ file, key, value, x, y string }{
	"DNase Run1":          {"dnase", "Run", "1", "conc", "density"},
	"Orange Tree1":        {"orange", "Tree", "1", "age", "circumference"},
	"Orange Tree2":        {"orange", "Tree", "2", "age", "circumference"},
	"Orange Tree3":        {"orange", "Tree", "3", "age", "circumference"},
	"Orange Tree4":        {"orange", "Tree", "4", "age", "circumference"},
	"Orange Tree5":        {"orange", "Tree", "5", "age", "circumference"},
	"Loblolly Seed301":    {"loblolly", "Seed", "301", "age", "height"},
	"Loblolly Seed303":    {"loblolly", "Seed", "303", "age", "height"},
	"Loblolly Seed329":    {"loblolly", "Seed", "329", "age", "height"},
	"Puromycin treated":   {"puromycin", "state", "treated", "conc", "rate"},
	"Puromycin untreated": {"puromycin", "state", "untreated", "conc", "rate"},
	"ChickWeight Chick1":  {"chickweight", "Chick", "1", "Time", "weight"},
	"Indometh Subject1":   {"indometh", "Subject", "1", "time", "conc"},
}

func rData(t *testing.T, name string) (x, y []float64) {
	set, ok := rSets[name]
	if !ok || set.file == "" {
		t.Fatalf("no data for %q", name)
	}
	for _, row := range readCSV(t, filepath.Join(rFolder, set.file+".csv")) {
		if row[set.key] == set.value {
			x, y = append(x, parse(t, row[set.x])), append(y, parse(t, row[set.y]))
		}
	}
	return x, y
}

type rFit struct {
	name               string
	estimate, stdError []float64
	n                  int
	rss, sigma, aic    float64
}

func readRFits(t *testing.T) []rFit {
	var all []rFit
	for _, row := range readCSV(t, filepath.Join(rFolder, "nls_estimates.csv")) {
		if len(all) == 0 || all[len(all)-1].name != row["fit"] {
			all = append(all, rFit{name: row["fit"], n: int(parse(t, row["n"])), rss: parse(t, row["rss"]),
				sigma: parse(t, row["sigma"]), aic: parse(t, row["AIC"])})
		}
		f := &all[len(all)-1]
		f.estimate = append(f.estimate, parse(t, row["estimate"]))
		f.stdError = append(f.stdError, parse(t, row["std_error"]))
	}
	return all
}

// parts takes "DNase Run1 SSlogis(log(conc))" apart.
func (f rFit) parts() (set, model string, logX bool) {
	at := 0
	for i := range f.name {
		if f.name[i:min(i+2, len(f.name))] == "SS" {
			at = i
		}
	}
	model = f.name[at:]
	for i, r := range model {
		if r == '(' {
			return f.name[:at-1], model[:i], model[i:] == "(log(conc))"
		}
	}
	return f.name[:at-1], model, false
}

// From starts a tenth off in alternate directions.
func TestRTables(t *testing.T) {
	fits := readRFits(t)
	if len(fits) < 20 {
		t.Fatalf("%d fits, want more than 20", len(fits))
	}
	for _, f := range fits {
		t.Run(f.name, func(t *testing.T) { checkRFit(t, f) })
	}
}

func checkRFit(t *testing.T, f rFit) {
	set, model, logX := f.parts()
	x, y := rData(t, set)
	d := dualFunction{formula: rFormulas[model]}
	for _, v := range x {
		if logX {
			v = math.Log(v)
		}
		d.x = append(d.x, []float64{v})
	}
	start := make([]float64, len(f.estimate))
	for i, v := range f.estimate {
		start[i] = v * (1 + 0.1*float64(1-2*(i%2)))
	}
	r := Fit(Problem{Function: d, Y: y}, start, Options{Tolerance: 1e-9})
	if r.Status != Converged && r.Status != IllDetermined || len(y) != f.n {
		t.Fatalf("%v: %s, %d points, want %d", r.Status, r.Why, len(y), f.n)
	}
	for i := range f.estimate {
		if off(r.P[i], f.estimate[i]) > 1e-7 || off(r.SE[i], f.stdError[i]) > 1e-6 {
			t.Errorf("parameter %d is %.10g +- %.8g, want %.10g +- %.8g", i+1, r.P[i], r.SE[i], f.estimate[i], f.stdError[i])
		}
	}
	if off(r.RSS, f.rss) > 1e-8 || off(r.SD, f.sigma) > 1e-8 {
		t.Errorf("RSS %.10g, residual SD %.10g, want %.10g and %.10g", r.RSS, r.SD, f.rss, f.sigma)
	}
	k := float64(len(r.P) + 1)
	if got := aicc(f.n, len(r.P), r.RSS, nil) - penalty(f.n, len(r.P)) + 2*k; off(got, f.aic) > 1e-7 {
		t.Errorf("AIC %.8f, want %.8f", got, f.aic)
	}
}

func off(got, want float64) float64 { return math.Abs(got-want) / math.Abs(want) }

// The logistic of this package, from the data alone, against SSlogis: K = Asym,
// mu = 1/scal; the standard errors follow by differentiation.
func TestLogisticAgainstR(t *testing.T) {
	for _, f := range readRFits(t) {
		set, model, logX := f.parts()
		if model != "SSlogis" {
			continue
		}
		t.Run(f.name, func(t *testing.T) {
			x, y := rData(t, set)
			for i := range x {
				if logX {
					x[i] = math.Log(x[i])
				}
			}
			s := Setting{Scale: Natural, NoProfile: true, Options: Options{Tolerance: 1e-9}}
			r := FitModel(Curve{Days: x, Values: y}, Logistic, s)
			asym, scal := f.estimate[0], f.estimate[2]
			got := []float64{math.Exp(r.P[1]), math.Exp(r.P[1]) * r.SE[1], 1 / r.P[2], r.SE[2] / (r.P[2] * r.P[2])}
			for i, want := range []float64{asym, f.stdError[0], scal, f.stdError[2]} {
				if off(got[i], want) > 1e-6 {
					t.Errorf("value %d is %.9g, want %.9g (%v: %s)", i, got[i], want, r.Status, r.Why)
				}
			}
			xmid := r.Origin + math.Log(math.Expm1(r.P[1]-r.P[0]))/r.P[2]
			if off(xmid, f.estimate[1]) > 1e-7 {
				t.Errorf("inflection at %.9g, want %.9g", xmid, f.estimate[1])
			}
			if ill := set == "ChickWeight Chick1"; ill != (r.Status == IllDetermined) {
				t.Errorf("%v: %s", r.Status, r.Why)
			}
		})
	}
}

// Facts of one published comparison: DNase run 1, AICc with the spread counted
// (R nls): logistic -72.7800606 before four-parameter -68.6937921 before
// Gompertz -62.0571835.
func TestAICc(t *testing.T) {
	for _, c := range []struct {
		k         int
		rss, want float64
	}{{3, 0.00478956896995, -72.7800606}, {4, 0.00470725495816, -68.6937921}, {3, 0.00936163766771, -62.0571835}} {
		if got := aicc(16, c.k, c.rss, nil); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("AICc of %d parameters is %.7f, want %.7f", c.k, got, c.want)
		}
	}
}
