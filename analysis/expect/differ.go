package expect

import "math"

// usualDiffer is how many lots it takes for what they show of how lots differ
// to be believed half against what is held of all lots.
const usualDiffer = 5

// differ is how lots differ about their strains, by the reference lots of all
// strains together: the mean square of what was found for each and of what is
// not known of it (one step of expectation and maximisation, Dempster, Laird and
// Rubin 1977).
func differ(records []Record) vector {
	own := ofLots
	var sum vector
	n := 0.0
	all := group(records)
	fits, errs := make([]fitted, len(all)), make([]error, len(all))
	each(len(all), func(i int) { fits[i], errs[i] = fit(&literature, literature.Mean, ofLots, all[i], usualNoise) })
	for i, recs := range all {
		f := fits[i]
		if errs[i] != nil || len(recs) < 2 {
			continue // one lot alone says nothing of how lots differ
		}
		n += float64(len(recs))
		at := params
		for k := range recs {
			for i, sd := range ofLots {
				if sd > 0 {
					sum[i] += f.lots[k][i]*f.lots[k][i] + f.cov.At(at, at)
					at++
				}
			}
		}
	}
	for i, sd := range ofLots {
		if i != pBlank {
			own[i] = math.Sqrt((usualDiffer*sd*sd + sum[i]) / (usualDiffer + n))
		}
	}
	return own
}
