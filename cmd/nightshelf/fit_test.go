package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis/growth"
)

// oddities are the kinds of curves that people's files hold: the value at a
// time of ten days, given the share of it that has gone by and a normal error.
var oddities = []struct {
	name  string
	most  int // points at most, 0 for any
	value func(t, e float64) float64
	tells []growth.Course // what may be said of one; nil for anything
}{
	{"clean", 0, func(t, e float64) float64 { return grownTo(t) * math.Exp(0.05*e) }, []growth.Course{growth.Grows, growth.Unclear}},
	{"noisy", 0, func(t, e float64) float64 { return grownTo(t) * math.Exp(0.5*e) }, nil},
	{"flat", 0, func(_, e float64) float64 { return 0.3 + 0.03*e }, []growth.Course{growth.Level, growth.Unclear}},
	{"dying", 0, func(t, e float64) float64 { return math.Exp(-3*t + 0.05*e) }, []growth.Course{growth.Dies, growth.Unclear}},
	{"two points", 2, func(t, _ float64) float64 { return grownTo(t) }, []growth.Course{growth.Unclear}},
	{"zeros", 0, func(_, _ float64) float64 { return 0 }, []growth.Course{growth.Unclear}},
	{"negative", 0, func(_, e float64) float64 { return -1 + 0.05*e }, []growth.Course{growth.Unclear}},
	{"about zero", 0, func(_, e float64) float64 { return 0.02 * e }, []growth.Course{growth.Level, growth.Unclear}},
	{"offset left in", 0, func(t, e float64) float64 { return 0.4 + grownTo(t) + 0.01*e }, []growth.Course{growth.Grows, growth.Level, growth.Unclear}},
	{"cells", 0, func(t, e float64) float64 { return 1e6 * grownTo(t) * math.Exp(0.1*e) }, []growth.Course{growth.Grows, growth.Unclear}},
	{"wild", 0, func(_, e float64) float64 { return e * math.Pow(10, 100*e) }, nil},
	{"constant", 0, func(_, _ float64) float64 { return 0.42 }, []growth.Course{growth.Level, growth.Unclear}},
	{"missing", 0, func(t, e float64) float64 {
		if e > 0 {
			return math.NaN()
		}
		return grownTo(t)
	}, nil},
}

// grownTo is a Gompertz curve of ten days.
func grownTo(t float64) float64 {
	return 0.05 * math.Exp(3*math.Exp(-math.Exp(0.3*math.E*(1.5-10*t)+1)))
}

func thousand(n int) (curves []namedCurve, file []byte) {
	var b bytes.Buffer
	b.WriteString("curve_id,t_days,value\n")
	sizes := []int{1, 2, 3, 4, 5, 7, 10, 14, 30, 100}
	for k := range n {
		r := rand.New(rand.NewPCG(11, uint64(k)))
		kind := oddities[k%len(oddities)]
		points := sizes[r.IntN(len(sizes))]
		if kind.most > 0 {
			points = kind.most
		}
		for i := range points {
			t := float64(i) / float64(max(points-1, 1))
			fmt.Fprintf(&b, "%s %d,%g,%g\n", kind.name, k, 10*t, kind.value(t, r.NormFloat64()))
		}
	}
	curves, faults, err := readCurves("thousand.csv", b.Bytes())
	if err != nil || len(faults) > 0 {
		panic(fmt.Sprint(err, faults))
	}
	return curves, b.Bytes()
}

// A thousand curves of every kind: an answer for each, the same whatever the
// number of workers, and soon.
func TestThousandCurves(t *testing.T) {
	curves, _ := thousand(1000)
	s, err := fitOptions{scale: "learn", workers: 1}.setting()
	if err != nil {
		t.Fatal(err)
	}
	var fitted []fittedCurve
	written := func(workers int, curves []namedCurve) string {
		began, calls := time.Now(), 0
		fitted, err = fitAll(context.Background(), curves, s, workers, func(int) { calls++ })
		if err != nil || calls != len(curves) {
			t.Fatalf("%d of %d: %v", calls, len(curves), err)
		}
		t.Logf("%d curves by %d workers on %d cores: %v", len(curves), workers, runtime.GOMAXPROCS(0), time.Since(began).Round(time.Millisecond))
		var b bytes.Buffer
		if err := errors.Join(fitCSV(&b, fitted), fitJSON(io.Discard, fitted)); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	alone := written(1, curves[:200])
	if !strings.HasPrefix(written(7, curves), alone) {
		t.Error("the number of workers changes what comes out")
	}
	for i := range fitted {
		tells(t, &fitted[i])
	}
}

// tells holds a curve's answer against its kind.
func tells(t *testing.T, c *fittedCurve) {
	for _, kind := range oddities {
		if !strings.HasPrefix(c.ID, kind.name+" ") || kind.tells == nil {
			continue
		}
		ok := false
		for _, course := range kind.tells {
			ok = ok || c.Course == course
		}
		if !ok {
			t.Errorf("%s, %d points: %s", c.ID, len(c.Values), c.Course)
		}
	}
	if len(c.Fits) != len(growth.Models) || c.Status != growth.Converged && c.Why == "" || c.Status == growth.Failed && c.Chosen >= 0 {
		t.Errorf("%s: %d fits, %v: %q", c.ID, len(c.Fits), c.Status, c.Why)
	}
	for i := range c.Fits {
		if row := c.row(i); len(row) != len(fitHeader) {
			t.Errorf("%s: %d cells under %d names", c.ID, len(row), len(fitHeader))
		}
	}
}

// Any curve can be drawn, and what is drawn is XML without a number that is none.
func TestAnyCurveCanBeDrawn(t *testing.T) {
	curves, _ := thousand(130)
	curves = append(curves, namedCurve{"<&\"> \x01", growth.Curve{Days: []float64{1e300, -1e300, 0}, Values: []float64{1e308, -1e308, 1e-308}}},
		namedCurve{"nothing", growth.Curve{Days: []float64{1}, Values: []float64{math.NaN()}}})
	fitted, err := fitAll(context.Background(), curves, growth.Setting{Scale: growth.Natural, Learn: true}, 2, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	for i := range fitted {
		var b bytes.Buffer
		if err := plotTemplate.Execute(&b, plot(&fitted[i])); err != nil {
			t.Fatal(err)
		}
		if s := b.String(); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
			t.Errorf("%s: a number that is none is drawn", fitted[i].ID)
		}
		d := xml.NewDecoder(&b)
		for err = nil; err == nil; {
			_, err = d.Token()
		}
		if !errors.Is(err, io.EOF) {
			t.Errorf("%s: %v", fitted[i].ID, err)
		}
	}
}

func TestFitStops(t *testing.T) {
	curves, _ := thousand(20)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := fitAll(ctx, curves, growth.Setting{}, 2, func(int) {}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want it canceled", err)
	}
}

// Whatever a file holds, reading ends, and every row is a value or a fault.
func FuzzReadCurves(f *testing.F) {
	_, file := thousand(13)
	f.Add(file)
	f.Add([]byte("curve_id,t_days,value\na,1,\"2\na,2,3\n\"a\",3,4\"\n"))
	f.Add([]byte("curve_id,t_days,value\n5,1,\"2\na,2,3\n(a\",3,4\"\n"))
	f.Add([]byte("\ufeffvalue;t_days\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		curves, faults, err := readCurves("f.csv", data)
		if err != nil {
			return
		}
		for _, fault := range faults {
			if !strings.HasPrefix(fault, "f.csv:") {
				t.Fatalf("%q names no place", fault)
			}
		}
		for _, c := range curves {
			if c.ID == "" || len(c.Days) == 0 || len(c.Days) != len(c.Values) {
				t.Fatalf("curve %q: %d times, %d values", c.ID, len(c.Days), len(c.Values))
			}
		}
		if _, err := csv.NewReader(bytes.NewReader(data)).ReadAll(); err == nil && len(faults) > bytes.Count(data, []byte("\n"))+1 {
			t.Fatalf("%d faults", len(faults))
		}
	})
}
