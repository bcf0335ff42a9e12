package growth

import (
	"fmt"
	"math"
	"testing"
)

func BenchmarkFit(b *testing.B) {
	for _, m := range []*Model{Gompertz, Baranyi} {
		for _, n := range []int{500, 2000} {
			b.Run(fmt.Sprintf("%s/%d", m.Name, n), func(b *testing.B) {
				c := grown(m, logs(3, 0.9, 1.5), n, 10, 0.05, 0, 1)
				d := ready(c, Logarithm)
				p := Problem{Function: m.On(d.t, Logarithm), Y: d.y}
				start := []float64{math.Log(0.08), 0.4, 0.6, 1}
				var r Result
				b.ReportAllocs()
				for b.Loop() {
					r = Fit(p, start, Options{})
				}
				b.ReportMetric(float64(r.Evaluations), "evaluations")
			})
		}
	}
}

func BenchmarkChoose(b *testing.B) {
	for _, n := range []int{50, 500} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			c := grown(Gompertz, logs(3, 0.9, 1.5), n, 10, 0.05, 0, 1)
			for b.Loop() {
				Choose(c, Setting{})
			}
		})
	}
}

// Iterations allocate nothing that grows with the points.
func TestFewAllocations(t *testing.T) {
	bytes := func(iterations int) float64 {
		d := ready(grown(Gompertz, logs(3, 0.9, 1.5), 2000, 10, 0.05, 0, 1), Logarithm)
		p := Problem{Function: Gompertz.On(d.t, Logarithm), Y: d.y}
		s := newSearch(p, 4)
		start := []float64{math.Log(0.08), 0.4, 0.6, 1}
		return testing.AllocsPerRun(20, func() { s.from(start, Options{Iterations: iterations}) })
	}
	one, eight := bytes(1), bytes(8)
	if eight-one > 100 {
		t.Errorf("%g allocations in one iteration, %g in eight", one, eight)
	}
}
