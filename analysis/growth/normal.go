package growth

import "math"

// blockPoints is how many points are taken at a time: their derivatives stay in
// the nearest memory and are never written down as a whole.
const blockPoints = 64

// blockwise is a function that can be evaluated some points at a time.
type blockwise interface {
	Function
	// block is Evaluate of the points from to to.
	block(p []float64, from, to int, f, jac []float64)
}

// evaluate works out function, sum of squares, J'WJ and J'Wr at q.p; what is
// not finite makes the sum infinite.
func (s *search) evaluate(q *place) {
	s.evaluations++
	clear(q.a)
	clear(q.gradient)
	q.sum = 0
	if s.blocks == nil {
		s.problem.Function.Evaluate(q.p, q.f, s.jac)
		s.take(q, 0, s.m)
	} else {
		for from := 0; from < s.m; from += blockPoints {
			to := min(from+blockPoints, s.m)
			s.blocks.block(q.p, from, to, q.f[from:to], s.jac[:(to-from)*s.n])
			s.take(q, from, to)
		}
	}
	n := s.n
	for j := range n {
		for k := range j {
			q.a[k*n+j] = q.a[j*n+k]
		}
		if d := q.a[j*n+j]; d-d != 0 {
			q.sum = math.Inf(1)
		}
	}
	if math.IsNaN(q.sum) {
		q.sum = math.Inf(1)
	}
}

// take adds the points from to to, whose derivatives stand in s.jac, to sum,
// J'WJ and J'Wr.
func (s *search) take(q *place, from, to int) {
	n, y, f := s.n, s.problem.Y[from:to], q.f[from:to]
	r := s.r[:len(y)]
	for i := range r {
		r[i] = y[i] - f[i]
	}
	jac := s.jac[:len(r)*n]
	if !s.plain {
		for i := range r {
			w := math.Sqrt(s.w[from+i]) * s.scale[from+i]
			r[i] *= w
			row := jac[i*n : i*n+n]
			for j := range row {
				row[j] *= w
			}
		}
	}
	sum := 0.0
	for _, v := range r {
		sum += v * v
	}
	q.sum += sum
	switch n {
	case 3:
		normal3(q.a, q.gradient, jac, r)
	case 4:
		normal4(q.a, q.gradient, jac, r)
	default:
		normal(q.a, q.gradient, jac, r)
	}
}

// normal adds J'J to the lower half of a and J'r to g.
func normal(a, g, jac, r []float64) {
	n := len(g)
	for i, ri := range r {
		row := jac[i*n : i*n+n]
		for j, d := range row {
			g[j] += ri * d
			to := a[j*n : j*n+j+1]
			for k := range to {
				to[k] += d * row[k]
			}
		}
	}
}

// normal3 is normal for three parameters.
func normal3(a, g, jac, r []float64) {
	var a00, a10, a11, a20, a21, a22, g0, g1, g2 float64
	for _, v := range r {
		x, y, z := jac[0], jac[1], jac[2]
		jac = jac[3:]
		a00 += x * x
		a10 += y * x
		a11 += y * y
		a20 += z * x
		a21 += z * y
		a22 += z * z
		g0 += v * x
		g1 += v * y
		g2 += v * z
	}
	a[0] += a00
	a[3] += a10
	a[4] += a11
	a[6] += a20
	a[7] += a21
	a[8] += a22
	g[0] += g0
	g[1] += g1
	g[2] += g2
}

// normal4 is normal for four parameters, in two goes: fourteen sums at once are
// more than a processor has room for.
func normal4(a, g, jac, r []float64) {
	jac = jac[:4*len(r)]
	var a00, a10, a11, a20, a21, g0, g1 float64
	for i, v := range r {
		row := jac[4*i : 4*i+4 : 4*i+4]
		w, x, y := row[0], row[1], row[2]
		a00 += w * w
		a10 += x * w
		a11 += x * x
		a20 += y * w
		a21 += y * x
		g0 += v * w
		g1 += v * x
	}
	var a22, a30, a31, a32, a33, g2, g3 float64
	for i, v := range r {
		row := jac[4*i : 4*i+4 : 4*i+4]
		w, x, y, z := row[0], row[1], row[2], row[3]
		a22 += y * y
		a30 += z * w
		a31 += z * x
		a32 += z * y
		a33 += z * z
		g2 += v * y
		g3 += v * z
	}
	a[0] += a00
	a[4] += a10
	a[5] += a11
	a[8] += a20
	a[9] += a21
	a[10] += a22
	a[12] += a30
	a[13] += a31
	a[14] += a32
	a[15] += a33
	g[0] += g0
	g[1] += g1
	g[2] += g2
	g[3] += g3
}

// remember keeps the greatest influence of each parameter, the scale of damping.
func (s *search) remember() {
	for j := range s.n {
		s.longest[j] = math.Max(s.memory*s.longest[j], s.at.a[j*s.n+j])
	}
}

// plainRSS is the sum of squares without the loss's weights.
func (s *search) plainRSS() float64 {
	sum := 0.0
	for i, y := range s.problem.Y {
		r := (y - s.at.f[i]) * s.scale[i]
		sum += r * r
	}
	return sum
}

// residuals returns (Y - f)/Sigma.
func (s *search) residuals() []float64 {
	r := make([]float64, s.m)
	for i, y := range s.problem.Y {
		r[i] = (y - s.at.f[i]) * s.scale[i]
	}
	return r
}
