package logbook

import (
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

var evening = time.Date(2026, time.November, 25, 18, 5, 0, 0, time.FixedZone("", -3600))

func TestParse(t *testing.T) {
	for line, want := range map[string]string{
		"C07 harvest 6L --refilled --at 17:40":                          "17:40 harvest: 6 L, refilled with new medium",
		"C07 harvest 6 L refilled":                                      "18:05 harvest: 6 L, refilled with new medium",
		"C07 harvest 500ml":                                             "18:05 harvest: 0.5 L",
		"C07 harvest 6,5 --tank rotifers --who ana":                     "18:05 harvest: 6.5 L, to tank rotifers",
		"C07 harvest --volume=6L refilled":                              "18:05 harvest: 6 L, refilled with new medium",
		"C07 harvest 6 --at 23:00":                                      "23:00 harvest: 6 L", // of yesterday
		"C07 chlorine-test none --method strip":                         "18:05 chlorine test: chlorine found 0 mg/L, method strip",
		"C07 chlorine_test 0.5ppm --method dpd":                         "18:05 chlorine test: chlorine found 0.5 mg/L, method dpd",
		"C07 count 2.1e6/ml":                                            "18:05 counted: cells/mL 2.1e+06",
		"C07 count 0.41od":                                              "18:05 counted: od by hand 0.41",
		"C07 count --counted 212 --squares 5 --dilution 10":             "18:05 counted: cells counted 212, large squares (0.1 uL each) 5, diluted so many times 10, which is 4.24e+06 cells/mL",
		"C07 dose --a 18ml --b 18ml --trace-ml 2ml --bottle-trace X1":   "18:05 nutrients in: part A 18 mL, part B 18 mL, bottle of part trace X1, part trace 2 mL",
		"C07 chlorinate 9ml --contact 90min --strength 5%":              "18:05 bleach in: bleach 9 mL, strength on the label 5 %, to stay for 1.5 h",
		"C07 look --contaminated --seen ciliates --at 2026-11-24T07:15": "07:15 looked at: contaminated, seen under the microscope ciliates",
		"C07 remark foam on top":                                        "18:05 remark: foam on top",
		"C07 set 1.8L/min":                                              "18:05 set: air 1.8 L/min",
		"C07 end crash":                                                 "18:05 ended: because crash",
		"C07 fit-sensor --blank-od 0.012 --series 1:0.8,0.5:0.42":       "18:05 probe fitted: od in standing medium 0.012, dilution series 1:0.8,0.5:0.42",
	} {
		e, err := Parse(split(line), evening, evening.Location())
		if err != nil {
			t.Errorf("%s: %v", line, err)
			continue
		}
		if got := e.At.In(evening.Location()).Format("15:04 ") + Sentence(e); got != want {
			t.Errorf("%s:\n got %s\nwant %s", line, got, want)
		}
		if e.At.After(evening) {
			t.Errorf("%s: happened at %v, after now", line, e.At)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for line, want := range map[string]string{
		"C07":                                  "an entry needs a vessel and what was done",
		"C07 brew":                             `"brew" is nothing that is written down`,
		"C07 harvest -3L":                      "volume, L must be from 0.0001 to 20000, not -3",
		"C07 harvest 0L":                       "not 0",
		"C07 harvest many":                     `"many" is no number`,
		"C07 harvest 6kg":                      `"6kg" is in a unit that does not fit volume, L: known are l, ml`,
		"C07 harvest 6L 7L":                    `"7L": volume, L was said already`,
		"C07 harvest 6L --colour green":        `says nothing called "colour": it has --volume, --refilled, --tank`,
		"C07 harvest 6L --refilled=maybe":      `"maybe" is neither yes nor no`,
		"C07 harvest 6L --at noon":             `"noon" is no time`,
		"C07 harvest 6L --at 2026-12-24T10:00": "is still to come",
		"C07 chlorine_test":                    "must be said: chlorine found, mg/L",
		"C07 chlorine_test 0 --method nose":    `"nose" must be one of strip, dpd, other`,
		"C07 chlorinate 9ml --strength 200%":   "must be from 0.1 to 20, not 200",
		"C07 count -5/ml":                      "cells/mL must be from 0",
		"C07 remark":                           "remark: must be said",
		"C07 dose 4.5ml":                       `"4.5ml" of which part? say --a 4.5ml --b 4.5ml`,
		"C07 count":                            "what came of it must be said",
		"C07 rinse twice":                      `takes no "twice"`,
		"C07 fit_sensor --series 1:x":          "is no step of a dilution series",
		"C07 withdraw":                         "must be said: entry",
		"bad\\ harvest 6L":                     "cannot name a vessel",
	} {
		_, err := Parse(split(line), evening, time.UTC)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want one with %q", line, err, want)
		}
	}
}

// 212 cells over 5 large squares of a ten times diluted sample: 42.4 a square,
// x 10 x 10^4 = 4.24e6 cells/mL. The improved Neubauer chamber holds 0.1 uL over
// a large square (trade knowledge); the error of 212 counted is 1/sqrt(212), 6.9 %.
func TestCells(t *testing.T) {
	e, err := Parse(split("C07 count --counted 212 --squares 5 --dilution 10"), evening, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	c, ok := CountOf(e)
	if !ok || c.CellsPerML < 4.2399e6 || c.CellsPerML > 4.2401e6 || c.Error < 0.12 || c.Error > 0.122 {
		t.Errorf("counted %+v, want 4.24e6 cells/mL within 12 %%", c)
	}
	if _, ok := CountOf(ingest.Entry{Kind: ingest.Count}); ok {
		t.Error("a count that tells nothing is one")
	}
}

func TestEveryKindHasAForm(t *testing.T) {
	for _, k := range ingest.Kinds {
		f, ok := FormOf(k)
		if !ok || f.Title == "" {
			t.Errorf("kind %s has no form", k)
		}
		seen := map[string]bool{}
		for _, x := range append(f.Fields, common...) {
			if seen[x.Name] && x.Name != "lot" {
				t.Errorf("kind %s has two fields %s", k, x.Name)
			}
			seen[x.Name] = true
			if x.Form == 'f' && !(x.Low < x.High) {
				t.Errorf("%s of %s can be nothing", x.Name, k)
			}
		}
	}
}
