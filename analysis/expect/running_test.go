package expect

import (
	"math"
	"testing"
	"time"
)

// troubled lets a fresh record of the invented strain grow again from an hour
// on, changed by what turn makes of the growth and of the od that is seen.
type troubled struct {
	from  int
	pace  float64                     // factor on growth
	extra func(hours float64) float64 // od that is seen beside the culture
}

// litGrowth is what a lot grows in a lit hour, over six of them about it.
func litGrowth(rec *Record, i int) float64 {
	a, b := i, i
	for b+1 < len(rec.OD) && b-i < 3 && rec.Hours[b+1].Par > 0 {
		b++
	}
	for i-a < 3 && rec.Hours[a-1].Par > 0 {
		a--
	}
	if a == b {
		return 0
	}
	return math.Max(math.Log(rec.OD[b]/rec.OD[a])/float64(b-a), 0)
}

// goThrough follows a lot, and calls each after every hour.
func (tr troubled) goThrough(s *Strain, seed uint64, days int, each func(hour int, r *Running)) Running {
	rec := grown(seed, days)
	run := s.Begin(rec.VolumeL, rec.BlankError, false)
	lost := 0.0
	for i, od := range rec.OD {
		if tr.pace != 1 && i > tr.from && rec.Hours[i].Par > 0 {
			lost += (1 - tr.pace) * litGrowth(&rec, i)
		}
		od *= math.Exp(-lost)
		if tr.extra != nil && i > tr.from {
			od += tr.extra(float64(i - tr.from))
		}
		if od < thin*rec.Noise {
			run.Take(s, rec.VolumeL, rec.Hours[i], math.NaN(), math.NaN(), od, 0, true)
			continue
		}
		run.Take(s, rec.VolumeL, rec.Hours[i], math.Log(od), rec.Noise/od, od, 0, true)
		if each != nil {
			each(i, &run)
		}
	}
	return run
}

// The errors of gaps are what lots that were not learnt from show: not smaller,
// so that limits mean what they say, and not twice as great.
func TestGapsAreWhatTheySay(t *testing.T) {
	lib := Learn(lots(0, 12))
	s := lib.Strain("inventa", "f/2")
	var sum, n [len(Windows)]float64
	for seed := uint64(30); seed < 50; seed++ {
		troubled{pace: 1}.goThrough(&s, seed, 7, func(_ int, r *Running) {
			for k, g := range r.Gaps(&s) {
				if g.Hours > 0 {
					sum[k] += g.Z() * g.Z()
					n[k]++
				}
			}
		})
	}
	for k, w := range Windows {
		rms := math.Sqrt(sum[k] / n[k])
		if !(rms > 0.4 && rms < 1.25) || n[k] < 100 {
			t.Errorf("%+v: %.2f standard errors, of %.0f gaps", w, rms, n[k])
		}
	}
}

func TestStandingStillIsSeen(t *testing.T) {
	lib := Learn(lots(0, 12))
	s := lib.Strain("inventa", "f/2")
	const from, lots = 80, 6
	seen := 0
	for seed := uint64(60); seed < 60+lots; seed++ {
		worst := 0.0
		troubled{from: from, pace: 0}.goThrough(&s, seed, 7, func(hour int, r *Running) {
			for k, g := range r.Gaps(&s) {
				switch {
				case g.Hours == 0 || Windows[k].Strange:
				case hour <= from && g.Z() < -4:
					t.Errorf("lot %d: %.1f standard errors short at hour %d, before it stood still", seed, -g.Z(), hour)
				case hour > from && hour <= from+40:
					worst = math.Min(worst, g.Z())
				}
			}
		})
		if worst < -4 {
			seen++
		}
	}
	// A slow lot under a short day has little to be short of in 40 h.
	if seen < lots-2 {
		t.Errorf("of %d lots that stood still for 40 h only %d were four standard errors short", lots, seen)
	}
}

// A trouble that has just begun teaches nothing: the pace held of the lot stays
// that of before.
func TestHeldBack(t *testing.T) {
	lib := Learn(lots(0, 12))
	s := lib.Strain("inventa", "f/2")
	at := func(pace float64) vector {
		r := troubled{from: 6*24 - heldBack, pace: pace}.goThrough(&s, 70, 6, nil)
		return r.Off
	}
	if well, ill := at(1), at(0); well != ill {
		t.Errorf("%v is held of the lot that stands still for %d h, %v of the same that does not", ill, heldBack, well)
	}
	var wide, narrow Running
	troubled{pace: 1}.goThrough(&s, 71, 7, func(hour int, r *Running) {
		if hour == heldBack {
			wide = *r
		}
		narrow = *r
	})
	const own = (pGrowth+1)*states + pGrowth + 1
	if !(narrow.Cov[own] < 0.8*wide.Cov[own]) {
		t.Errorf("variance of the pace %.4f after a week, %.4f before", narrow.Cov[own], wide.Cov[own])
	}
}

func TestWhy(t *testing.T) {
	lib := Learn(lots(0, 12))
	s := lib.Strain("inventa", "f/2")
	const from = 96
	for _, c := range []struct {
		name string
		tr   troubled
		want Cause
	}{
		{"a film of 0.15 od a day", troubled{from: from, pace: 1, extra: func(h float64) float64 { return 0.15 * h / 24 }}, Film},
		{"bacteria that double in six hours", troubled{from: from, pace: 1, extra: func(h float64) float64 { return 0.004 * math.Exp2(h/6) }}, Bloom},
		{"half as fast again", troubled{from: from, pace: 1.8}, Hurry},
	} {
		right, gots := 0, []Cause{}
		for seed := uint64(80); seed < 90; seed++ {
			got := Unclear
			c.tr.goThrough(&s, seed, 6, func(hour int, r *Running) {
				if hour == from+24 {
					got = r.Why(24)
				}
			})
			gots = append(gots, got)
			if got == c.want {
				right++
			}
		}
		if right < 8 {
			t.Errorf("%s: told %d of 10 times, %v", c.name, right, gots)
		}
	}
}

// What is put right later is as if it had been right at once.
func TestAmend(t *testing.T) {
	lib := Learn(lots(0, 6))
	s := lib.Strain("inventa", "f/2")
	rec := grown(91, 5)
	right, late := s.Begin(12, 0.001, false), s.Begin(12, 0.001, false)
	for i, od := range rec.OD {
		log, sigma := math.Log(math.Max(od, 1e-3)), rec.Noise/math.Max(od, 1e-3)
		right.Take(&s, 12, rec.Hours[i], log, sigma, od, 0, true)
		wrong := log
		if i == 60 {
			wrong -= 0.5
		}
		late.Take(&s, 12, rec.Hours[i], wrong, sigma, od, 0, true)
		if i == 70 {
			was := right.Ring[60%Kept]
			late.Amend(10, float64(was.Log), float64(was.Sigma), 0)
		}
	}
	if right != late {
		t.Error("an hour that was put right before it taught left a trace")
	}
}

func TestRunningAllocatesNothing(t *testing.T) {
	s := unseen()
	run := s.Begin(12, 0.002, false)
	od := 0.05
	if n := testing.AllocsPerRun(200, func() {
		od *= 1.01
		run.Take(&s, 12, Hour{Par: 100, TempC: 20, Vvm: 0.2}, math.Log(od), 0.01, od, 0, true)
		_ = run.Gaps(&s)
	}); n != 0 {
		t.Errorf("%v allocations an hour", n)
	}
}

// One hour of one lot, with all its windows.
func BenchmarkRunning(b *testing.B) {
	s := unseen()
	run := s.Begin(12, 0.002, false)
	for b.Loop() {
		run.Take(&s, 12, Hour{Par: 100, TempC: 20, Vvm: 0.2}, math.Log(0.1), 0.01, 0.1, 0, true)
		_ = run.Gaps(&s)
	}
}

// The band of the course holds what came, and goes on where the lot stands.
func TestRunningBand(t *testing.T) {
	lib := Learn(lots(0, 12))
	s := lib.Strain("inventa", "f/2")
	inside, all := 0, 0
	for seed := uint64(100); seed < 120; seed++ {
		rec := grown(seed, 7)
		var band []Band
		const upTo, ahead = 120, 24
		end := rec.Start.Add(upTo * time.Hour)
		troubled{pace: 1}.goThrough(&s, seed, 7, func(hour int, r *Running) {
			if hour == upTo-1 {
				band = r.Band(&s, end, ahead)
			}
		})
		if len(band) != Kept+ahead {
			t.Fatalf("%d hours of band", len(band))
		}
		for _, b := range band {
			if hour := int(b.At.Sub(rec.Start).Hours()); hour >= upTo {
				all++
				if od := rec.OD[hour]; b.Low <= od && od <= b.High {
					inside++
				}
			}
			if !(b.Low > 0 && b.Low < b.Likely && b.Likely < b.High) && b.At.After(band[0].At) {
				t.Fatalf("band of %v", b)
			}
		}
	}
	// The law is the very one the lots are made by: more may be held than is said.
	if share := float64(inside) / float64(all); share < 0.72 {
		t.Errorf("%.2f of %d hours to come within their 80 %% band", share, all)
	}
	none := s.Begin(12, 0.002, false)
	if b := none.Band(&s, start, 24); b != nil {
		t.Errorf("a band of %v before anything was seen", b)
	}
}
