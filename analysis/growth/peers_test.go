package growth

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// peer is another program that fits curves.
type peer struct {
	name    string
	command []string
	try     []string // arguments with which it says that it is all there
	script  string
}

var peers = []peer{
	{"SciPy curve_fit", []string{"python3", "/usr/bin/python3"}, []string{"-c", "import scipy.optimize"}, "fit.py"},
	{"R nls", []string{"Rscript"}, []string{"-e", "stats::nls"}, "fit.R"},
}

// find returns the program, "" where it is not here.
func (p peer) find() string {
	for _, c := range p.command {
		if exec.Command(c, p.try...).Run() == nil {
			return c
		}
	}
	return ""
}

// peerFit is a row of what a peer writes.
type peerFit struct {
	seconds, rss float64
	p, se        []float64
}

// fit hands the curves to the peer.
func (p peer) fit(t *testing.T, program string, rounds int, curves []byte) map[string]map[string]peerFit {
	args := []string{filepath.Join("testdata", "peers", p.script), strconv.Itoa(rounds)}
	for _, v := range peerStart {
		args = append(args, fmt.Sprint(v))
	}
	c := exec.Command(program, args...)
	var errs bytes.Buffer
	c.Stdin, c.Stderr = bytes.NewReader(curves), &errs
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%s: %v: %s", p.name, err, errs.String())
	}
	rows, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", p.name, err)
	}
	fits := map[string]map[string]peerFit{}
	for _, row := range rows {
		var v []float64
		for _, cell := range row[2:] {
			x, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatalf("%s: %v", p.name, err)
			}
			v = append(v, x)
		}
		if fits[row[0]] == nil {
			fits[row[0]] = map[string]peerFit{}
		}
		fits[row[0]][row[1]] = peerFit{v[0], v[1], v[2:6], v[6:10]}
	}
	return fits
}

// peerStart is where everyone starts.
var peerStart = []float64{-2.5, 0.4, 0.6, 1}

type peerCurve struct {
	name  string
	model *Model
	Problem
}

func peerCurves() (curves []peerCurve, rows []byte) {
	var b bytes.Buffer
	for _, m := range []*Model{Gompertz, Baranyi} {
		word := map[*Model]string{Gompertz: "gompertz", Baranyi: "baranyi"}[m]
		for _, n := range []int{40, 500, 2000} {
			for seed := range uint64(2) {
				d := ready(grown(m, logs(3, 0.9, 1.5), n, 10, 0.05, 0, seed+1), Logarithm)
				name := fmt.Sprintf("%s/%d/%d", word, n, seed+1)
				curves = append(curves, peerCurve{name, m, Problem{Function: m.On(d.t, Logarithm), Y: d.y}})
				for i := range d.t {
					fmt.Fprintf(&b, "%s,%s,%.17g,%.17g\n", name, word, d.t[i], d.y[i])
				}
			}
		}
	}
	return curves, b.Bytes()
}

// timed fits over and over and returns the least time it took.
func (c peerCurve) timed(rounds int) (Result, float64) {
	var r Result
	least := math.Inf(1)
	for range rounds {
		began := time.Now()
		r = Fit(c.Problem, peerStart, Options{})
		least = math.Min(least, time.Since(began).Seconds())
	}
	return r, least
}

// SciPy's curve_fit and R's nls come from the same starts to the same
// parameters, standard errors and residual sums. It prints how long each took,
// against the quicker of a peer's two ways, and fails for none of that.
// Steadier times: NIGHTSHELF_ROUNDS=200.
func TestAgainstPeers(t *testing.T) {
	rounds := fromEnvironment("NIGHTSHELF_ROUNDS", 5)
	curves, rows := peerCurves()
	for _, p := range peers {
		t.Run(p.name, func(t *testing.T) {
			program := p.find()
			if program == "" {
				if os.Getenv("NIGHTSHELF_REQUIRE_ALL") == "1" {
					t.Fatalf("%s is not here", p.name)
				}
				t.Skipf("%s is not here", p.name)
			}
			fits := p.fit(t, program, rounds, rows)
			for _, c := range curves {
				r, took := c.timed(max(rounds, 10))
				quickest := math.Inf(1)
				if len(fits[c.name]) != 2 {
					t.Errorf("%s: %d fits, want 2", c.name, len(fits[c.name]))
				}
				for way, f := range fits[c.name] {
					quickest = math.Min(quickest, f.seconds)
					agrees(t, c.name+" by "+way, r, f)
				}
				t.Logf("%-16s %7.0f us, %7.0f us there, ratio %.2f", c.name, 1e6*took, 1e6*quickest, took/quickest)
			}
		})
	}
}

// agrees compares parameters by their standard errors: where a program stops is
// its own affair, as long as nobody could tell.
func agrees(t *testing.T, name string, r Result, f peerFit) {
	if r.Status != Converged {
		t.Errorf("%s: %v: %s", name, r.Status, r.Why)
	}
	if off(r.RSS, f.rss) > 1e-8 {
		t.Errorf("%s: residual sum %.12g, there %.12g", name, r.RSS, f.rss)
	}
	for j := range r.P {
		if d := math.Abs(r.P[j]-f.p[j]) / r.SE[j]; d > 1e-3 {
			t.Errorf("%s: parameter %d is %.9g, there %.9g: %.2g standard errors apart", name, j+1, r.P[j], f.p[j], d)
		}
		if off(r.SE[j], f.se[j]) > 1e-3 {
			t.Errorf("%s: standard error %d is %.6g, there %.6g", name, j+1, r.SE[j], f.se[j])
		}
	}
}
