package growth

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/num/dual"
)

// The nonlinear regression problems of NIST's Statistical Reference Datasets;
// where they come from is told in testdata/nist_strd/SOURCE.
const nistFolder = "../../testdata/nist_strd"

type number = dual.Number

func num(v float64) number { return number{Real: v} }

func add(a number, more ...number) number {
	for _, b := range more {
		a = dual.Add(a, b)
	}
	return a
}

func mul(a number, more ...number) number {
	for _, b := range more {
		a = dual.Mul(a, b)
	}
	return a
}

func sub(a, b number) number { return dual.Sub(a, b) }
func div(a, b number) number { return dual.Mul(a, dual.Inv(b)) }
func neg(a number) number    { return dual.Scale(-1, a) }

// pow is a^b for b that may itself be sought, by exp and ln.
func pow(a, b number) number { return dual.Exp(dual.Mul(b, dual.Log(a))) }

// dualFunction is a formula whose derivatives come by dual numbers, exact.
type dualFunction struct {
	formula func(b []number, x []float64) number
	x       [][]float64
}

func (d dualFunction) Evaluate(p, f, jac []float64) {
	b := make([]number, len(p))
	for i, x := range d.x {
		for j := range p {
			for k := range p {
				b[k] = num(p[k])
			}
			b[j].Emag = 1
			v := d.formula(b, x)
			f[i], jac[i*len(p)+j] = v.Real, v.Emag
		}
	}
}

func poly(x float64, c ...number) number {
	sum := num(0)
	for i := len(c) - 1; i >= 0; i-- {
		sum = add(dual.Scale(x, sum), c[i])
	}
	return sum
}

func misra(power, inner float64) func(b []number, x []float64) number {
	return func(b []number, x []float64) number {
		return mul(b[0], sub(num(1), pow(add(num(1), dual.Scale(inner*x[0], b[1])), num(power))))
	}
}

func saturating(b []number, x []float64) number {
	return mul(b[0], sub(num(1), dual.Exp(dual.Scale(-x[0], b[1]))))
}

func bell(height, centre, width number, x float64) number {
	z := div(sub(num(x), centre), width)
	return mul(height, dual.Exp(neg(mul(z, z))))
}

func decay(b, k number, x float64) number { return mul(b, dual.Exp(dual.Scale(-x, k))) }

func wave(c, s, period number, x float64) number {
	a := div(num(2*math.Pi*x), period)
	return add(mul(c, dual.Cos(a)), mul(s, dual.Sin(a)))
}

var nistFormulas = map[string]func(b []number, x []float64) number{
	"Misra1a": saturating,
	"BoxBOD":  saturating,
	"Misra1b": misra(-2, 0.5),
	"Misra1c": misra(-0.5, 2),
	"Misra1d": func(b []number, x []float64) number {
		bx := dual.Scale(x[0], b[1])
		return div(mul(b[0], bx), add(num(1), bx))
	},
	"Chwirut1": chwirut, "Chwirut2": chwirut,
	"Lanczos1": lanczos, "Lanczos2": lanczos, "Lanczos3": lanczos,
	"Gauss1": gauss, "Gauss2": gauss, "Gauss3": gauss,
	"DanWood": func(b []number, x []float64) number { return mul(b[0], pow(num(x[0]), b[1])) },
	"Kirby2": func(b []number, x []float64) number {
		return div(poly(x[0], b[0], b[1], b[2]), poly(x[0], num(1), b[3], b[4]))
	},
	"Hahn1": cubics, "Thurber": cubics,
	"ENSO": func(b []number, x []float64) number {
		return add(b[0], wave(b[1], b[2], num(12), x[0]), wave(b[4], b[5], b[3], x[0]), wave(b[7], b[8], b[6], x[0]))
	},
	"MGH09": func(b []number, x []float64) number {
		return div(mul(b[0], poly(x[0], num(0), b[1], num(1))), poly(x[0], b[3], b[2], num(1)))
	},
	"MGH10": func(b []number, x []float64) number { return mul(b[0], dual.Exp(div(b[1], add(num(x[0]), b[2])))) },
	"MGH17": func(b []number, x []float64) number {
		return add(b[0], decay(b[1], b[3], x[0]), decay(b[2], b[4], x[0]))
	},
	"Nelson": func(b []number, x []float64) number {
		return sub(b[0], dual.Scale(x[0], decay(b[1], b[2], x[1])))
	},
	"Roszman1": func(b []number, x []float64) number {
		turn := dual.Atan(div(b[2], sub(num(x[0]), b[3])))
		return sub(sub(b[0], dual.Scale(x[0], b[1])), dual.Scale(1/math.Pi, turn))
	},
	"Bennett5": func(b []number, x []float64) number {
		return mul(b[0], pow(add(num(x[0]), b[1]), neg(dual.Inv(b[2]))))
	},
	"Eckerle4": func(b []number, x []float64) number {
		z := div(sub(num(x[0]), b[2]), b[1])
		return mul(div(b[0], b[1]), dual.Exp(dual.Scale(-0.5, mul(z, z))))
	},
	"Rat42": func(b []number, x []float64) number { return div(b[0], rat(b, x[0])) },
	"Rat43": func(b []number, x []float64) number { return div(b[0], pow(rat(b, x[0]), dual.Inv(b[3]))) },
}

func rat(b []number, x float64) number {
	return add(num(1), dual.Exp(sub(b[1], dual.Scale(x, b[2]))))
}

func chwirut(b []number, x []float64) number {
	return div(dual.Exp(dual.Scale(-x[0], b[0])), add(b[1], dual.Scale(x[0], b[2])))
}

func lanczos(b []number, x []float64) number {
	return add(decay(b[0], b[1], x[0]), decay(b[2], b[3], x[0]), decay(b[4], b[5], x[0]))
}

func gauss(b []number, x []float64) number {
	return add(decay(b[0], b[1], x[0]), bell(b[2], b[3], b[4], x[0]), bell(b[5], b[6], b[7], x[0]))
}

func cubics(b []number, x []float64) number {
	return div(poly(x[0], b[0], b[1], b[2], b[3]), poly(x[0], num(1), b[4], b[5], b[6]))
}

type nistProblem struct {
	name                string
	start               [2][]float64
	certified, stdError []float64
	rss                 float64
	problem             Problem
}

func TestNIST(t *testing.T) {
	problems := readNIST(t)
	if len(problems) != 27 {
		t.Fatalf("%d problems, want 27", len(problems))
	}
	for _, p := range problems {
		for i, start := range p.start {
			t.Run(fmt.Sprintf("%s/%d", p.name, i+1), func(t *testing.T) { checkNIST(t, p, start) })
		}
	}
}

func checkNIST(t *testing.T, p nistProblem, start []float64) {
	r := Fit(p.problem, start, Options{Iterations: 8000, Tolerance: 1e-8})
	if r.Status == Failed || r.Status == Stopped {
		t.Fatalf("%v: %s; RSS %g, certified %g, %v", r.Status, r.Why, r.RSS, p.rss, r.P)
	}
	for j, want := range p.certified {
		if off := math.Abs(r.P[j]-want) / math.Abs(want); !(off < 1e-6) {
			t.Errorf("parameter %d is %.10g, certified %.10g (%d evaluations)", j+1, r.P[j], want, r.Evaluations)
		}
		if p.name == "Lanczos1" { // its certified residuals lie below the precision of the data
			continue
		}
		if want := p.stdError[j]; !(math.Abs(r.SE[j]-want)/want < 1e-4) {
			t.Errorf("standard error %d is %.8g, certified %.8g", j+1, r.SE[j], want)
		}
	}
	if p.name != "Lanczos1" && math.Abs(r.RSS-p.rss)/p.rss > 1e-6 {
		t.Errorf("residual sum %.10g, certified %.10g", r.RSS, p.rss)
	}
}

func readNIST(t *testing.T) []nistProblem {
	var all []nistProblem
	for _, row := range readCSV(t, filepath.Join(nistFolder, "certified.csv")) {
		name := row["dataset"]
		if len(all) == 0 || all[len(all)-1].name != name {
			all = append(all, nistProblem{name: name, problem: nistData(t, name), rss: parse(t, row["rss"])})
		}
		p := &all[len(all)-1]
		for i := range p.start {
			p.start[i] = append(p.start[i], parse(t, row["start"+strconv.Itoa(i+1)]))
		}
		p.certified = append(p.certified, parse(t, row["certified"]))
		p.stdError = append(p.stdError, parse(t, row["std_error"]))
	}
	return all
}

func nistData(t *testing.T, name string) Problem {
	formula, ok := nistFormulas[name]
	if !ok {
		t.Fatalf("no formula for %s", name)
	}
	f := dualFunction{formula: formula}
	var y []float64
	for _, row := range readCSV(t, filepath.Join(nistFolder, name+".csv")) {
		v := parse(t, row["y"])
		if name == "Nelson" {
			f.x = append(f.x, []float64{parse(t, row["x1"]), parse(t, row["x2"])})
			v = math.Log(v)
		} else {
			f.x = append(f.x, []float64{parse(t, row["x"])})
		}
		y = append(y, v)
	}
	return Problem{Function: f, Y: y}
}

func readCSV(t *testing.T, path string) []map[string]string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("read %s: %d rows, %v", path, len(rows), err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, name := range rows[0] {
			m[name] = row[i]
		}
		out = append(out, m)
	}
	return out
}

func parse(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Norris is NIST's linear problem; certified values from Norris.dat.
func TestNorris(t *testing.T) {
	var x, y []float64
	for _, row := range readCSV(t, filepath.Join(nistFolder, "Norris.csv")) {
		x, y = append(x, parse(t, row["x"])), append(y, parse(t, row["y"]))
	}
	l, err := LogLinear(x, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := []float64{l.Intercept, l.InterceptSE, l.Slope, l.SlopeSE, l.ResidualSD}
	want := []float64{-0.262323073774029, 0.232818234301152, 1.00211681802045, 0.429796848199937e-03, 0.884796396144373}
	for i := range want {
		if math.Abs(got[i]/want[i]-1) > 1e-9 {
			t.Errorf("value %d is %.15g, certified %.15g", i, got[i], want[i])
		}
	}
}
