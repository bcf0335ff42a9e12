package judge

import (
	"math"
	"testing"

	"github.com/nightshelf/nightshelf/analysis/expect"
)

func TestLimits(t *testing.T) {
	usual := LimitsOf(1, 12)
	for n := range accusations * len(expect.Windows) {
		a, k := n%accusations, n/accusations
		w := expect.Windows[k]
		switch {
		case !(LimitsOf(0.1, 12)[a][k] > usual[a][k]):
			t.Errorf("%+v: a room that bears fewer false calls accuses no later", w)
		case !(LimitsOf(1, 100)[a][k] > usual[a][k]):
			t.Errorf("%+v: more vessels share the same calls at no greater limit", w)
		case LimitsOf(0, 0)[a][k] != usual[a][k]:
			t.Errorf("%+v: nothing set is not the usual", w)
		case !(usual[a][k] > leastLimit && usual[a][k] < 6):
			t.Errorf("%+v: limit of %.1f standard errors", w, usual[a][k])
		}
	}
	// The shares add up to what was set: chance times looks, over everything.
	sum := 0.0
	for n := range accusations * families {
		a, f := n%accusations, n/accusations
		looks, limit := 0.0, 0.0
		for k, w := range expect.Windows {
			if family(w) == f {
				limit = usual[a][k]
				if f != strange {
					looks += 2 * monthHours / float64(w.Hours)
				}
			}
		}
		if f == strange {
			looks = monthLots * lotLooks
		}
		sum += 12 * looks * math.Erfc(limit/math.Sqrt2) / 2
	}
	if math.Abs(sum-cultureShare) > 1e-9 {
		t.Errorf("%.3f false culture calls a month come of the limits, %.3f were set", sum, cultureShare)
	}
}
