package expect

import "math"

// Gap is how a lot has grown over some hours beside how it should have.
type Gap struct {
	Hours    int     // 0: nothing is known
	Seen     float64 // change of log density
	Expected float64 // the same by the course
	Sigma    float64 // standard error of the difference: of readings, course and steps
}

// Z is the difference in standard errors; NaN unknown.
func (g Gap) Z() float64 { return (g.Seen - g.Expected) / g.Sigma }

// Window is one way of holding a lot against its course.
type Window struct {
	Hours int // that end now; 0: the whole life of the lot
	// Strange takes the lot for any one of its strain, whatever pace it has
	// shown: what is slow from its start, or slowly becomes so, has taught its
	// own course to be.
	Strange bool
}

// Windows are those that are looked at. Each is half as long again as the one
// before, so that whatever the length of a trouble, one of them is within a
// fifth of it.
var Windows = [...]Window{{1, false}, {2, false}, {3, false}, {4, false}, {6, false}, {9, false}, {12, false}, {18, false},
	{24, false}, {36, false}, {48, false}, {Kept - 1, false}, {24, true}, {36, true}, {48, true}, {Kept - 1, true}, {0, true}}

// Gaps returns how the lot has grown over each of Windows, as far as it has
// lived and was seen, up to the newest whole hour.
func (r *Running) Gaps(s *Strain) (out [len(Windows)]Gap) {
	if r.Hours == 0 {
		return out
	}
	return r.gaps(s, &r.Ring[(r.Hours-1)%Kept], sums{}, Kept)
}

// GapsNow is Gaps for what is seen now, part of an hour after the newest whole
// one, and for windows of so many hours at the most: they are longer by that
// part. The arguments are as in Take.
func (r *Running) GapsNow(s *Strain, litres float64, h Hour, part, seen, sigma, dense float64, longest int) (out [len(Windows)]Gap) {
	if r.Hours == 0 {
		return out
	}
	now := Passed{Log: float32(seen), Sigma: float32(sigma), Dense: float32(dense)}
	mean, after := s.Mean.law(litres), r.Now[pBlank]
	rate, _ := mean.grow(&after, h, math.Min(math.Max(dense, 0), most))
	now.Rate = float32(rate)
	w := sums{Rate: part * rate, Gross: part * math.Max(rate, 0)}
	for i, slope := range r.Ring[(r.Hours-1)%Kept].Slope { // of the hour before: a part of one weighs little
		w.Slope[i] = part * float64(slope)
	}
	return r.gaps(s, &now, w, longest)
}

// gaps looks back from now, before which w has passed since the newest whole
// hour.
func (r *Running) gaps(s *Strain, now *Passed, w sums, longest int) (out [len(Windows)]Gap) {
	if !now.known() {
		return out
	}
	for back := 1; back < min(r.Hours, Kept, longest+1); back++ {
		w.add(&r.Ring[(r.Hours-back)%Kept])
		before := &r.Ring[(r.Hours-1-back)%Kept]
		if !before.known() {
			continue
		}
		for k, window := range Windows {
			if window.Hours == back {
				out[k] = r.gap(s, now, before, w, window.Strange)
				out[k].Sigma *= s.Scale[k]
			}
		}
	}
	if k := len(Windows) - 1; r.Life.Hours >= Kept && longest >= Kept {
		out[k] = r.gap(s, now, &r.First, r.Life, true)
		out[k].Sigma *= s.Scale[k]
	}
	return out
}

// sums are what passed over the hours of a window.
type sums struct {
	Hours              int
	Rate, Gross, Steps float64 // 1/d for each hour, but steps
	Slope              vector
}

func (w *sums) add(p *Passed) {
	w.Hours++
	w.Rate += float64(p.Rate)
	w.Gross += p.gross()
	w.Steps += float64(p.Step)
	for i := range w.Slope {
		w.Slope[i] += float64(p.Slope[i])
	}
}

func (r *Running) gap(s *Strain, now, before *Passed, w sums, strange bool) Gap {
	for i := range w.Slope {
		w.Slope[i] *= hourDays
	}
	// A blank gone wrong shows in what is seen, not in what is expected.
	w.Slope[pBlank] = now.thin() - before.thin()
	g := Gap{Hours: w.Hours, Seen: float64(now.Log) - float64(before.Log), Expected: w.Rate * hourDays}
	variance := now.error2() + before.error2() + w.Steps + s.Drift*s.Drift*float64(w.Hours)*hourDays
	if strange {
		variance += s.quadratic(&w.Slope, r.Blank)
	} else {
		for i := range w.Slope {
			g.Expected += w.Slope[i] * r.Off[i]
		}
		variance += r.quadratic(&w.Slope)
	}
	astray := s.Astray * w.Gross * hourDays
	g.Sigma = math.Sqrt(variance + astray*astray)
	return g
}

// quadratic is the variance that the lot's parameters bring into a sum with
// these weights, by what it has taught.
func (r *Running) quadratic(w *vector) float64 {
	sum := 0.0
	for i := range params {
		for j := range params {
			sum += w[i] * w[j] * r.Cov[(i+1)*states+j+1]
		}
	}
	return math.Max(sum, 0)
}

// quadratic is the same for any lot of the strain.
func (s *Strain) quadratic(w *vector, blank float64) float64 {
	sum := 0.0
	for i := range params {
		for j := range params {
			sum += w[i] * w[j] * s.Cov[i*params+j]
		}
		own := s.Own[i]
		if i == pBlank {
			own = blank
		}
		sum += w[i] * w[i] * own * own
	}
	return math.Max(sum, 0)
}
