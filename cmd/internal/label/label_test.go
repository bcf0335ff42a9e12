package label

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "write the golden pictures anew")

// azores is an hour behind UTC in November, without asking for a list of zones.
var azores = time.FixedZone("-01", -3600)

// examples are labels of an invented room.
var examples = map[string]Label{
	"lot": {Room: "Saltmeadow nursery", Vessel: "C07", Lot: "TI-201", Strain: "tisochrysis-lutea", Medium: "f/2", Donor: "TI-188", Generation: 4,
		Inoculated: time.Date(2026, 11, 25, 15, 30, 0, 0, time.UTC), Zone: azores, VolumeL: 18.5, URL: "https://shelf.saltmeadow.example/vessel/C07"},
	"standing": {Room: "Saltmeadow nursery", Vessel: "C08", Medium: "f/2", Filled: time.Date(2026, 11, 24, 17, 5, 0, 0, time.UTC), Zone: azores,
		VolumeL: 18, URL: "https://shelf.saltmeadow.example/vessel/C08"},
	"nocode": {Room: "Saltmeadow nursery", Vessel: "C09", Lot: "TE-204", Strain: "tetraselmis-suecica", Inoculated: time.Date(2026, 5, 3, 7, 0, 0, 0, time.UTC)},
	"bare":   {},
	"long": {Room: "The lower culture room behind the old pump house", Vessel: "Carboy on the middle shelf, left of the door", Lot: "2026-11-25-thalassiosira-weissflogii-C07-second",
		Strain: "thalassiosira-weissflogii (clone from the harbour wall)", Medium: "f/2 with silicate, half nitrate, and vitamins from the second batch",
		Donor: "2026-11-18-thalassiosira-weissflogii-C02-first", Generation: 112, Inoculated: time.Date(2026, 9, 28, 18, 38, 0, 0, time.UTC), VolumeL: 1000,
		URL: "https://shelf.saltmeadow.example/vessel/Carboy%20on%20the%20middle%20shelf,%20left%20of%20the%20door"},
}

var sizes = map[string]Size{"90x50": Carboy, "62x29": Roll}

// The golden pictures are looked at whenever they are written anew.
func TestGoldenPictures(t *testing.T) {
	for name, l := range examples {
		for size, s := range sizes {
			got, err := SVG(l, s)
			if err != nil {
				t.Fatal(err)
			}
			file := filepath.Join("testdata", name+"-"+size+".svg")
			if *update {
				if err := os.WriteFile(file, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("%s: drawn differently; -update writes it anew, look at it then:\n%s", file, got)
			}
		}
	}
}
