package track

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
)

// saturated is what a probe of this blank and bend shows of a density.
func saturated(d, q, blank float64) float64 { return blank + d/(1+q*d) }

func fitted(q, blank float64) ingest.Entry {
	text := fmt.Sprintf("0:%.5f", blank)
	for _, share := range []float64{1, 0.5, 0.25, 0.125} {
		text += fmt.Sprintf(", %g:%.5f", share, saturated(1.2*share, q, blank))
	}
	return ingest.Entry{Vessel: "C01", Kind: ingest.FitSensor, At: start, Written: start,
		Fields: map[string]ingest.Value{"series": ingest.Text(text), "blank_od": ingest.Num(blank)}}
}

// The growth of a dark culture under a saturating probe is too low by a
// fifth, until its dilution series is known.
func TestDilutionSeriesTakesSaturationOut(t *testing.T) {
	const q, blank, mu = 0.4, 0.02, 0.3
	rate := func(list ...ingest.Entry) *State {
		s := New()
		for _, e := range list {
			s.Note(e)
		}
		grow(&s, start, 3, func(d float64) float64 { return saturated(0.3*math.Exp(mu*d), q, blank) })
		return &s
	}
	with := rate(fitted(q, blank), inoculate(start))
	near(t, "net growth with the series", with.Day.PerDay, mu, 0.005)
	near(t, "density", with.Estimate().Density.Likely, 0.3*math.Exp(3*mu), 0.01)
	if g := rate(inoculate(start)).Day.PerDay; g > 0.85*mu {
		t.Errorf("net growth without the series %.3f/d: this probe does not saturate, the test tests nothing", g)
	}
	// Another probe, of which nothing is known.
	other := rate(fitted(q, blank), inoculate(start))
	other.Note(ingest.Entry{Vessel: "C01", Kind: ingest.FitSensor, At: start.Add(1)})
	if other.Bend != 0 {
		t.Errorf("another probe is taken to bend by %.3f", other.Bend)
	}
}

// The standard error holds what errors in shares and readings of the size it
// supposes do: of a thousand series, two thirds within one, 95 % within two.
func TestBendError(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	const q = 0.5
	one, two, n := 0, 0, 1000
	for range n {
		var series []logbook.Dilution
		for _, share := range []float64{1, 0.8, 0.6, 0.4, 0.2, 0.1} {
			true := share * (1 + shareError*r.NormFloat64())
			od := saturated(0.9*true, q, 0)
			series = append(series, logbook.Dilution{Share: share, OD: od*(1+readShare*r.NormFloat64()) + readError*r.NormFloat64()})
		}
		got, sigma, ok := bendOf(series, 0)
		if !ok {
			t.Fatal("a good series tells nothing")
		}
		switch z := math.Abs(got-q) / sigma; {
		case z < 1:
			one++
			two++
		case z < 2:
			two++
		}
	}
	if one < 620 || one > 750 || two < 920 {
		t.Errorf("of %d series %d are within one standard error and %d within two", n, one, two)
	}
}

func TestBendOfTooLittle(t *testing.T) {
	for name, series := range map[string][]logbook.Dilution{
		"nothing":      nil,
		"two steps":    {{Share: 1, OD: 0.8}, {Share: 0.5, OD: 0.5}},
		"one share":    {{Share: 1, OD: 0.8}, {Share: 1, OD: 0.81}, {Share: 1, OD: 0.79}},
		"all blank":    {{Share: 1, OD: 0}, {Share: 0.5, OD: 0}, {Share: 0.25, OD: 0}},
		"one reading":  {{Share: 1, OD: 0.5}, {Share: 0.5, OD: 0.5}, {Share: 0.2, OD: 0.5}},
		"upside down":  {{Share: 0.2, OD: 0.9}, {Share: 0.5, OD: 0.5}, {Share: 1, OD: 0.1}},
		"straight":     {{Share: 1, OD: 0.8}, {Share: 0.5, OD: 0.4}, {Share: 0.25, OD: 0.2}},
		"bent upwards": {{Share: 1, OD: 0.9}, {Share: 0.5, OD: 0.4}, {Share: 0.25, OD: 0.18}},
	} {
		q, sigma, ok := bendOf(series, 0)
		if ok && !(q >= 0 && q < 1e-9 && sigma > 0) {
			t.Errorf("%s: bends by %v (%v)", name, q, sigma)
		}
	}
}
