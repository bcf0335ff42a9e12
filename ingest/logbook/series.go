package logbook

import (
	"fmt"
	"strconv"
	"strings"
)

// mostDilutions is how many steps a dilution series may have.
const mostDilutions = 32

// Series reads a dilution series such as "1:0.82, 0.5:0.44, 0.25:0.23": shares
// of culture, each with the od it reads.
func Series(s string) ([]Dilution, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	var out []Dilution
	for part := range strings.SplitSeq(s, ",") {
		share, od, found := strings.Cut(part, ":")
		x, err1 := strconv.ParseFloat(strings.TrimSpace(share), 64)
		y, err2 := strconv.ParseFloat(strings.TrimSpace(od), 64)
		switch {
		case !found || err1 != nil || err2 != nil:
			return nil, fmt.Errorf("%q is no step of a dilution series: want share:od, such as 0.5:0.44", short(strings.TrimSpace(part)))
		case !(x >= 0 && x <= 1):
			return nil, fmt.Errorf("share %s of a dilution series must be from 0 to 1", num(x))
		case !(y >= -1 && y <= mostOD):
			return nil, fmt.Errorf("od %s of a dilution series must be from -1 to %s", num(y), num(mostOD))
		}
		out = append(out, Dilution{x, y})
		if len(out) > mostDilutions {
			return nil, fmt.Errorf("a dilution series has at most %d steps", mostDilutions)
		}
	}
	return out, nil
}
