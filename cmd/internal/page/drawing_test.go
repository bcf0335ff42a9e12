package page

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
)

var update = flag.Bool("update", false, "write the golden pictures anew")

func golden(t *testing.T, name, template string, data any) string {
	t.Helper()
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, template, data); err != nil {
		t.Fatal(err)
	}
	b.WriteByte('\n')
	file := filepath.Join("testdata", name+".svg")
	if *update {
		if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("%s differs from its golden picture; if that is meant, run the test with -update\n got %s\nwant %s", name, b.Bytes(), want)
	}
	return b.String()
}

func TestSmallPictures(t *testing.T) {
	c := clock{zone: roomZone, now: smallHour}
	for _, v := range invented().Vessels {
		d := draw(v, c)
		d.ID = "g"
		golden(t, "vessel-"+v.Vessel.Name, "drawing", d)
		if k := smallCurve(v, c); !k.Empty {
			golden(t, "curve-"+v.Vessel.Name, "curve", k)
		}
	}
}

// walk returns the points that a path goes through.
func walk(t *testing.T, path string) (points [][2]float64) {
	t.Helper()
	var at [2]float64
	for _, stroke := range regexp.MustCompile(`[Ml][^MlZ]*`).FindAllString(path, -1) {
		numbers := regexp.MustCompile(`-?(\d+\.\d|\d+|\.\d)`).FindAllString(stroke, -1)
		if len(numbers)%2 != 0 {
			t.Fatalf("%q has an odd number of coordinates", stroke)
		}
		for i, s := range numbers {
			n, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			if stroke[0] == 'M' {
				at[i%2] = n
			} else {
				at[i%2] += n
			}
			if i%2 == 1 {
				points = append(points, at)
			}
		}
	}
	return points
}

func TestPathsGoWhereTheyAreTold(t *testing.T) {
	want := [][2]float64{{0, 0}, {0.04, 10.06}, {-3.3, 10.1}, {71.96, 0.5}, {12, 12}}
	var p path
	p.move(want[0][0], want[0][1])
	for _, q := range want[1:] {
		p.line(q[0], q[1])
	}
	for i, got := range walk(t, p.String()) {
		if math.Abs(got[0]-want[i][0]) > 0.0501 || math.Abs(got[1]-want[i][1]) > 0.0501 {
			t.Errorf("point %d of %q is %v, want %v", i, p.String(), got, want[i])
		}
	}
	if got := len(walk(t, p.String())); got != len(want) {
		t.Errorf("%d points, want %d", got, len(want))
	}
}

// Every coordinate of a picture lies within it, whatever the vessel.
func TestPicturesStayInTheirFrame(t *testing.T) {
	c := clock{zone: time.UTC, now: smallHour}
	for kind := range glasses {
		for _, litres := range []float64{0, 0.1, 5, 20, 1e6, math.Inf(1), math.NaN()} {
			for _, filled := range []float64{0, 0.001, 1e9} {
				v := lot("C1", kind, 20, 3, .05, .7, 2, analysis.Exponential)
				v.Vessel.VolumeL, v.FilledL = litres, filled
				d := draw(v, c)
				for _, path := range []string{d.Outline, d.Liquid, d.Surface, d.Tube, d.Bubbles} {
					for _, p := range walk(t, path) {
						if p[0] < 0 || p[0] > 72 || p[1] < 0 || p[1] > 104 {
							t.Errorf("%s of %v L: %v in %q lies outside", kind, litres, p, path)
						}
					}
				}
			}
		}
	}
}

func TestLevelFollowsWhatIsInIt(t *testing.T) {
	top := func(filled float64) float64 {
		v := lot("C1", "carboy", 20, 3, .05, .7, 2, analysis.Exponential)
		v.FilledL = filled
		d := draw(v, clock{zone: time.UTC, now: smallHour})
		return walk(t, d.Surface)[0][1]
	}
	if full, half, low := top(20), top(10), top(2); full >= half || half >= low {
		t.Errorf("levels of 20, 10 and 2 L stand at %v, %v and %v from the top", full, half, low)
	}
}

func TestTintDarkensWithDensity(t *testing.T) {
	last := math.Inf(1)
	for od := 0.0; od <= 6; od += 0.25 {
		l := luminance(tint(od))
		if l >= last {
			t.Fatalf("at %v the tint is no darker than before", od)
		}
		last = l
	}
	for _, od := range []float64{math.NaN(), math.Inf(1), -1} {
		if tint(od) != tint(0) {
			t.Errorf("tint of %v is %s", od, tint(od))
		}
	}
	if deep, ground := luminance(tint(50)), luminance("#090c0d"); contrast(deep, ground) < 1.3 {
		t.Error("the darkest culture cannot be told from the night's ground")
	}
}

func TestLineLeavesGapsWhereNothingWasSeen(t *testing.T) {
	x := timeScale{from: smallHour, to: smallHour.Add(10 * time.Hour), a: 0, b: 100}
	y := scale{lo: 0, hi: 1, a: 0, b: 10}
	var points []analysis.Point
	for i := range 60 {
		points = append(points, analysis.Point{At: smallHour.Add(time.Duration(i) * time.Minute), Value: .5})
		points = append(points, analysis.Point{At: smallHour.Add(9*time.Hour + time.Duration(i)*time.Minute), Value: math.NaN()})
	}
	points[119].Value = .5
	slices.SortFunc(points, func(a, b analysis.Point) int { return a.At.Compare(b.At) })
	if got := strings.Count(line(points, x, y), "M"); got != 2 {
		t.Errorf("%d strokes, want 2 with nothing between", got)
	}
}

func TestHarvestWindow(t *testing.T) {
	day := func(d int) time.Time { return smallHour.AddDate(0, 0, d) }
	band := []CourseBand{{day(-1), 5, 9}, {day(0), .5, 1}, {day(1), 1, 2}, {day(2), 2, 4}}
	early, late := harvestWindow(band, smallHour, 1.5)
	if !early.Equal(day(1)) || !late.Equal(day(2)) {
		t.Errorf("harvest between %v and %v", early, late)
	}
	if early, late = harvestWindow(band, smallHour, 10); !early.IsZero() || !late.IsZero() {
		t.Errorf("a density that is never reached is reached between %v and %v", early, late)
	}
}

func TestLampNightsKeepToTheClockOnTheWall(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Skip("no zone data: ", err)
	}
	// On 26 October 2025 clocks there went back an hour at 02:00 (IANA tzdata).
	from := time.Date(2025, 10, 25, 12, 0, 0, 0, zone)
	x := timeScale{from: from, to: from.Add(48 * time.Hour), a: 0, b: 48} // one unit an hour
	v := ingest.Vessel{Zone: zone, LightsOn: 6 * time.Hour, LightHours: 16 * time.Hour}
	got := lampNights(v, x)
	want := [][2]string{{"10", "9"}, {"35", "8"}} // 22:00 to 06:00, the first night an hour longer
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("nights at %v, want %v", got, want)
	}
	if got := lampNights(ingest.Vessel{LightsOn: -1, LightHours: 16 * time.Hour}, x); got != nil {
		t.Errorf("unknown lamp hours have nights %v", got)
	}
}

func TestTicks(t *testing.T) {
	texts := func(ticks []tick) string {
		var out []string
		for _, k := range ticks {
			out = append(out, k.Text)
		}
		return strings.Join(out, " ")
	}
	log := scale{lo: math.Log(0.04), hi: math.Log(2.5), a: 100, b: 0, log: true}
	if got := texts(logTicks(log)); got != "0.05 0.1 0.2 0.5 1 2" {
		t.Errorf("ticks %q", got)
	}
	if got := texts(linearTicks(scale{lo: 18.2, hi: 22.9, a: 100})); got != "20 22" {
		t.Errorf("ticks %q", got)
	}
	c := clock{zone: roomZone, now: smallHour}
	x := timeScale{from: smallHour.AddDate(0, 0, -4), to: smallHour, a: 44, b: 350}
	if got := texts(dayTicks(x, c, 358)); got != "Sat 22 Sun 23 Mon 24" && got != "Sat 22 Mon 24" {
		t.Errorf("ticks %q", got)
	}
}
