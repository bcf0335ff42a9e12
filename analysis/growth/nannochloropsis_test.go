package growth

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// sharedTable reads a table of reference data that is not part of the
// repository: columns by name.
func sharedTable(t *testing.T, parts ...string) map[string][]float64 {
	dir := os.Getenv("NIGHTSHELF_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared")
	}
	f, err := os.Open(filepath.Join(append([]string{dir}, parts...)...))
	if err != nil {
		t.Skip("no reference data here:", err)
	}
	defer func() { _ = f.Close() }()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%d rows: %v", len(rows), err)
	}
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for i, name := range rows[0] {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			out[name] = append(out[name], v)
		}
	}
	return out
}

// Od of 19 cultures of Nannochloropsis gaditana at graded nitrate and phosphate
// (C. Garrido Perez 2001, in add-my-pet/DEBtool_M, alga/mydata_cnplim.m), the
// logistic from the data alone against R's nls:
//
//	od = K/(1 + exp(-r (t - tm))), tm = ln(K/N0 - 1)/r
func TestNannochloropsis(t *testing.T) {
	want := sharedTable(t, "reference", "nannochloropsis_od", "logistic_fits.csv")
	od := sharedTable(t, "reference", "nannochloropsis_od", "n_gaditana_od.csv")
	for i, series := range want["series"] {
		var c Curve
		for k, s := range od["series"] {
			if s == series {
				c.Days, c.Values = append(c.Days, od["time_h"][k]/24), append(c.Values, od["od"][k])
			}
		}
		f := FitModel(c, Logistic, Setting{Scale: Natural, NoProfile: true})
		if f.Status == Failed || f.Status == Stopped {
			t.Errorf("series %g: %v: %s", series, f.Status, f.Why)
			continue
		}
		k := math.Exp(f.P[1])
		for name, v := range map[string]float64{
			"K": k, "K_se": k * f.SE[1], "r_per_day": f.P[2], "r_se": f.SE[2],
			"tm_day": math.Log(k/math.Exp(f.P[0])-1) / f.P[2], "rss": f.RSS,
		} {
			if off(v, want[name][i]) > 2e-5 {
				t.Errorf("series %g: %s is %.9g, want %.9g", series, name, v, want[name][i])
			}
		}
	}
	if len(want["series"]) != 19 {
		t.Errorf("%d series, want 19", len(want["series"]))
	}
}
