package plan

import "strings"

// genera are those usual as live feed, by whether they are diatoms, which
// alone need silicate (general botany; the names are those of the trade).
var genera = map[string]bool{
	"chaetoceros": true, "thalassiosira": true, "skeletonema": true, "phaeodactylum": true, "cyclotella": true,
	"navicula": true, "nitzschia": true, "amphora": true, "cylindrotheca": true, "conticribra": true,
	"nannochloropsis": false, "tisochrysis": false, "isochrysis": false, "pavlova": false, "diacronema": false,
	"tetraselmis": false, "rhodomonas": false, "dunaliella": false, "chlorella": false, "porphyridium": false,
	"nannochloris": false, "chroomonas": false, "emiliania": false, "oxyrrhis": false, "prorocentrum": false,
}

// Diatom reports whether a strain is a diatom, by the genus that its name
// begins with; known is false for one that is not among those usual as feed.
func Diatom(strain string) (diatom, known bool) {
	genus := strings.ToLower(strings.TrimSpace(strain))
	if i := strings.IndexAny(genus, " -_."); i >= 0 {
		genus = genus[:i]
	}
	diatom, known = genera[genus]
	return diatom, known
}
