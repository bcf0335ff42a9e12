package analysis

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// nile reads the table in testdata, see its README.
func nile(t *testing.T) (columns map[string]int, rows [][]float64) {
	t.Helper()
	f, err := os.Open("testdata/nile_local_level_kalman.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	columns = map[string]int{}
	for i, name := range lines[0] {
		columns[name] = i
	}
	for _, line := range lines[1:] {
		row := make([]float64, len(line))
		for i, cell := range line {
			if row[i] = math.NaN(); cell != "NA" {
				if row[i], err = strconv.ParseFloat(cell, 64); err != nil {
					t.Fatal(err)
				}
			}
		}
		rows = append(rows, row)
	}
	return columns, rows
}

// printed is by how much the table's ten digits may differ, relative.
const printed = 1e-9

// The local level model of the Nile with the variances of Durbin and Koopman
// (2001, chapter 2), 15099 and 1469.1, row by row: all 99 filter steps, from
// the exact diffuse start, which is the first year seen with its error.
func TestNileRowByRow(t *testing.T) {
	const eps, eta = 15099, 1469.1
	at, rows := nile(t)
	if len(rows) != 100 {
		t.Fatalf("%d rows, want 100", len(rows))
	}
	b := Belief{Mean: rows[0][at["y"]], Variance: eps}
	for _, row := range rows[1:] {
		before := b.Drift(eta)
		y := row[at["y"]]
		b = before.See(y, eps, 1)
		for name, got := range map[string]float64{
			"a": before.Mean, "P": before.Variance, "v": y - before.Mean, "F": before.Variance + eps,
			"K": 1 - b.Variance/before.Variance, "att": b.Mean, "Ptt": b.Variance,
		} {
			want := row[at[name]]
			if !(math.Abs(got-want) <= printed*max(math.Abs(want), 1000)) { // v and K hang on sums of thousands
				t.Errorf("%v %s: %.10g, want %.10g", row[0], name, got, want)
			}
		}
	}
	// Its steady state: K = 0.2670480126, P = 5501.257942.
	if k := 1 - b.Variance/(b.Variance+eta); math.Abs(k-0.2670480126) > 1e-9 {
		t.Errorf("steady gain %.10f, want 0.2670480126", k)
	}
}

// The weight of iterated least squares for Student's t with n degrees of
// freedom is (n+1)/(n+z2), here in units of that at z = 0.
func TestTrust(t *testing.T) {
	for _, n := range []float64{1, 4, 30} {
		for _, z := range []float64{0, 1, -3, 20} {
			want := ((n + 1) / (n + z*z)) / ((n + 1) / n)
			if got := Trust(z, n); math.Abs(got-want) > 1e-12 {
				t.Errorf("trust in %v deviations of t%v: %v, want %v", z, n, got, want)
			}
		}
	}
}

// Half the trust moves half as far, and lowers the variance half as much.
func TestSeeWithHalfTrust(t *testing.T) {
	b := Belief{Mean: 2, Variance: 3}
	if got, want := b.See(6, 1, 0.5), (Belief{Mean: 2 + 0.375*4, Variance: 3 * 0.625}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}
