package expect

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// Strain is what is held of one strain in one medium.
type Strain struct {
	Belief        // of the strain
	Own    vector // standard deviation of a lot about its strain
	Lots   int    // reference lots it was learnt from
	Names  []string
	Drift  float64 // as of noise
	Astray float64 // relative error of the rate that stays over days
	Width  float64 // factor on the width of bands, as forecasts of reference lots by the others have shown
	// Scale is by how much gaps between lots and their courses were seen to be
	// wider than reckoned, for each of Windows.
	Scale   [len(Windows)]float64
	WideFor string // why bounds are wide; empty where they are not
}

// Library holds what was learnt, by strain and medium. It is plain data, made
// to be kept as JSON.
type Library struct {
	Strains map[string]Strain
}

// key of a strain in a medium.
func key(strain, medium string) string { return strain + "\x1f" + medium }

// literature is what is held of any feed species before a lot of it was seen.
// Means and standard deviations, the latter wide enough that two of them hold
// the published range:
//
//	growth   1.2/d, factor 1.5: FAO 361 and Kooi and others 2017 (1.85/d at best)
//	light    Ik 50 umol, factor 1.8: from 15 (Kooi and others 2017: 1.85/d over 0.12/d for
//	         each umol) to 150
//	best     200 umol, factor 1.6: 203 (Kooi and others 2017)
//	shade    40 1/m for each od, factor 1.8: 100 to 300 1/m for each g/L dry weight
//	         (reviews, from memory), 0.2 to 0.5 g/L for each od
//	spend    0.08/d, factor 1.7: 0.006 to 0.59 1/d (Edmundson and Huesemann 2015),
//	         1 to 5 per cent on most nights
//	warm     25 degC, 3 K
//	weight   0.35 g/L for each od, factor 1.5
//	lag      h0 0.5, factor 2: hours to two days
//	bleach   0.5/d, factor 2.5: up to a third in the first days under strong light
var literature = spread(
	vector{math.Log(1.2), math.Log(50), math.Log(200), math.Log(40), math.Log(0.08), 25, math.Log(0.35), math.Log(0.5), math.Log(0.5), 0},
	vector{0.4, 0.6, 0.5, 0.6, 0.5, 3, 0.4, 0.7, 0.9, 1e-4})

// ofLots is how lots of one strain differ: 10 to 15 per cent in pace (common
// practice), and by our own judgement a fifth in respiration and half in lag.
var ofLots = vector{pGrowth: 0.13, pSpend: 0.2, pLag: 0.5, pBlank: 0.002}

// astray is by how much of itself the rate of a law that fits so far is wrong
// for days on end, as the lot comes to densities and lights it was not seen
// at: without reference lots, and with them.
const astrayAlone, astrayTaught = 0.15, 0.06

// Learn learns from reference lots. Records that hold nothing are passed over.
func Learn(records []Record) Library {
	lib := Library{Strains: map[string]Strain{}}
	own := differ(records)
	all := group(records)
	strains, trials, beside := make([]Strain, len(all)), make([][]Trial, len(all)), make([]besides, len(all))
	each(len(all), func(i int) {
		strains[i] = learn(all[i], own)
		leftOut(all[i], leftOutMost, own, func(s *Strain, r *Record) {
			trials[i] = append(trials[i], s.trials(r)...)
			beside[i].add(s, r)
		})
	})
	wide, scale := widen(slices.Concat(trials...)), joined(beside).scale()
	for i, s := range strains {
		s.Width, s.Scale = wide, scale
		lib.Strains[key(all[i][0].Strain, all[i][0].Medium)] = s
	}
	return lib
}

// group parts records by strain and medium, in order of these and of start.
func group(records []Record) [][]*Record {
	by := map[string][]*Record{}
	for i := range records {
		r := &records[i]
		by[key(r.Strain, r.Medium)] = append(by[key(r.Strain, r.Medium)], r)
	}
	var out [][]*Record
	for _, k := range slices.Sorted(maps.Keys(by)) {
		recs := by[k]
		slices.SortFunc(recs, func(a, b *Record) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.Lot, b.Lot)) })
		out = append(out, recs)
	}
	return out
}

func unseen() Strain {
	return Strain{Belief: literature, Own: ofLots, Drift: usualNoise.Drift, Astray: astrayAlone, Width: 1, Scale: asReckoned,
		WideFor: "no reference lot of this strain in this medium: the literature alone"}
}

func learn(recs []*Record, own vector) Strain {
	s := unseen()
	if len(recs) == 0 {
		return s
	}
	f, err := fit(&literature, literature.Mean, own, recs, usualNoise)
	if err != nil {
		return s
	}
	s.Mean, s.Lots, s.Own = f.strain, len(recs), own
	for i := range params {
		for j := range params {
			s.Cov[i*params+j] = f.cov.At(i, j)
		}
	}
	for _, r := range recs {
		s.Names = append(s.Names, r.Lot)
	}
	s.Astray = math.Hypot(astrayTaught, astrayAlone/math.Sqrt(float64(1+len(recs))))
	s.WideFor = ""
	if len(recs) < 3 {
		s.WideFor = "few reference lots of this strain in this medium"
	}
	return s
}

// Strain returns what is held of a strain in a medium.
func (lib Library) Strain(strain, medium string) Strain {
	if s, ok := lib.Strains[key(strain, medium)]; ok {
		return s
	}
	return unseen()
}
