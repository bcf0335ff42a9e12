package lineproto

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

func TestAppendReading(t *testing.T) {
	got, err := AppendReading([]byte("# head\n"),
		r("C07", unit.OD, 0.412, noon), r("C07", unit.Temperature, 21.3, noon),
		r("C07", unit.OD, 0.413, noon), // the same quantity again
		r("C07", unit.OD, 0.414, noon.Add(time.Millisecond)),
		r("a b,c=d", unit.Light, -0.5, noon))
	want := `# head
reading,vessel=C07 od=0.412,temp_c=21.3 1764072000000000000
reading,vessel=C07 od=0.413 1764072000000000000
reading,vessel=C07 od=0.414 1764072000001000000
reading,vessel=a\ b\,c\=d par_umol=-0.5 1764072000000000000
`
	if err != nil || string(got) != want {
		t.Errorf("got %v\n%s\nwant\n%s", err, got, want)
	}
	if got, err := AppendReading(nil); err != nil || len(got) != 0 {
		t.Errorf("no readings make %q, %v", got, err)
	}
}

func TestAppendReadingRefuses(t *testing.T) {
	good := r("C07", unit.OD, 1, noon)
	tests := map[string]func(*ingest.Reading){
		"no vessel":         func(r *ingest.Reading) { r.Vessel = "" },
		"backslash at end":  func(r *ingest.Reading) { r.Vessel = `C07\` },
		"line end":          func(r *ingest.Reading) { r.Vessel = "C\n07" },
		"no quantity":       func(r *ingest.Reading) { r.Quantity = 0 },
		"unknown quantity":  func(r *ingest.Reading) { r.Quantity = unit.Count },
		"no number":         func(r *ingest.Reading) { r.Value = math.NaN() },
		"infinite":          func(r *ingest.Reading) { r.Value = math.Inf(-1) },
		"no time":           func(r *ingest.Reading) { r.At = time.Time{} },
		"time out of range": func(r *ingest.Reading) { r.At = noon.AddDate(300, 0, 0) },
	}
	for name, change := range tests {
		bad := good
		change(&bad)
		dst, err := AppendReading([]byte("x"), good, bad)
		if err == nil || string(dst) != "x" || !strings.HasPrefix(err.Error(), "write reading 2: ") {
			t.Errorf("%s: got %q, %v", name, dst, err)
		}
	}
}

func TestAppendEntry(t *testing.T) {
	e := ingest.Entry{Vessel: "C07", Kind: ingest.Harvest, At: noon, Written: noon.Add(time.Minute), Who: "night hand",
		Fields: map[string]ingest.Value{"volume_l": ingest.Num(6), "refilled": ingest.Bool(true), "remark": ingest.Text("a \"b\"\nc")}}
	want := `event,kind=harvest,vessel=C07 refilled=true,remark="a \"b\"\nc",volume_l=6,who="night hand",written_at=1764072060000000000i 1764072000000000000` + "\n"
	got, err := AppendEntry(nil, e)
	if err != nil || string(got) != want {
		t.Errorf("got %v\n%s\nwant\n%s", err, got, want)
	}
}

func TestAppendEntryRefuses(t *testing.T) {
	tests := map[string]func(*ingest.Entry){
		"no vessel":     func(e *ingest.Entry) { e.Vessel = "" },
		"no kind":       func(e *ingest.Entry) { e.Kind = "" },
		"unknown kind":  func(e *ingest.Entry) { e.Kind = "harvset" },
		"no time":       func(e *ingest.Entry) { e.At = time.Time{} },
		"never written": func(e *ingest.Entry) { e.Written = time.Time{} },
		"who no text":   func(e *ingest.Entry) { e.Who = "\xff" },
		"taken name":    func(e *ingest.Entry) { e.Fields = map[string]ingest.Value{"who": ingest.Text("x")} },
		"empty name":    func(e *ingest.Entry) { e.Fields = map[string]ingest.Value{"": ingest.Num(1)} },
		"line end":      func(e *ingest.Entry) { e.Fields = map[string]ingest.Value{"a\nb": ingest.Num(1)} },
		"no form":       func(e *ingest.Entry) { e.Fields = map[string]ingest.Value{"a": {}} },
		"no number":     func(e *ingest.Entry) { e.Fields = map[string]ingest.Value{"a": ingest.Num(math.NaN())} },
		"no text":       func(e *ingest.Entry) { e.Fields = map[string]ingest.Value{"a": ingest.Text("\xc3")} },
		"long text": func(e *ingest.Entry) {
			e.Fields = map[string]ingest.Value{"a": ingest.Text(strings.Repeat("x", MaxText+1))}
		},
	}
	for name, change := range tests {
		e := ingest.Entry{Vessel: "C07", Kind: ingest.Look, At: noon, Written: noon}
		change(&e)
		dst, err := AppendEntry([]byte("x"), e)
		if err == nil || string(dst) != "x" || !strings.HasPrefix(err.Error(), "write entry: ") {
			t.Errorf("%s: got %q, %v", name, dst, err)
		}
	}
}

// anyTime draws times that nanoseconds since 1970 can say.
var anyTime = rapid.Custom(func(t *rapid.T) time.Time {
	return time.UnixMilli(rapid.Int64Range(946684800000, 9000000000000).Draw(t, "ms")).UTC()
})

var anyVessel = rapid.String().Filter(ingest.ValidVesselName)

func TestReadingsComeBack(t *testing.T) {
	d := decoder(t, Options{})
	one := rapid.Custom(func(t *rapid.T) ingest.Reading {
		return r(anyVessel.Draw(t, "vessel"), rapid.SampledFrom(unit.All[:]).Draw(t, "quantity"),
			rapid.Float64().Filter(finite).Draw(t, "value"), anyTime.Draw(t, "at"))
	})
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOfN(one, 1, 9).Draw(t, "readings")
		for i := 1; i < len(want); i++ { // so that some share a line
			if rapid.Bool().Draw(t, "same") {
				want[i].Vessel, want[i].At = want[i-1].Vessel, want[i-1].At
			}
		}
		lines, err := AppendReading(nil, want...)
		if err != nil {
			t.Fatal(err)
		}
		got := d.Decode(lines, always, always)
		if len(got.Refused) > 0 || !reflect.DeepEqual(got.Readings, want) {
			t.Fatalf("%s\ngot %v\nrefused %v\nwant %v", lines, got.Readings, got.Refused, want)
		}
	})
}

func finite(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }

func TestEntriesComeBack(t *testing.T) {
	d := decoder(t, Options{})
	value := rapid.Custom(func(t *rapid.T) ingest.Value {
		switch rapid.IntRange(0, 2).Draw(t, "form") {
		case 0:
			return ingest.Num(rapid.Float64().Filter(finite).Draw(t, "number"))
		case 1:
			return ingest.Bool(rapid.Bool().Draw(t, "yes"))
		}
		return ingest.Text(rapid.String().Draw(t, "text"))
	})
	name := anyVessel.Filter(func(s string) bool { return s != who && s != writtenAt && s != writtenOnArrival })
	rapid.Check(t, func(t *rapid.T) {
		want := ingest.Entry{Vessel: anyVessel.Draw(t, "vessel"), Kind: rapid.SampledFrom(ingest.Kinds).Draw(t, "kind"),
			At: anyTime.Draw(t, "at"), Written: anyTime.Draw(t, "written"),
			WrittenOnArrival: rapid.Bool().Draw(t, "on arrival"), Who: rapid.String().Draw(t, "who")}
		if fields := rapid.MapOfN(name, value, 0, 5).Draw(t, "fields"); len(fields) > 0 {
			want.Fields = fields
		}
		line, err := AppendEntry(nil, want)
		if err != nil {
			t.Fatal(err)
		}
		got := d.Decode(line, always, always)
		if len(got.Refused) > 0 || len(got.Entries) != 1 || !reflect.DeepEqual(got.Entries[0], want) || got.Entries[0].ID() != want.ID() {
			t.Fatalf("%s\ngot %+v\nrefused %v\nwant %+v", line, got.Entries, got.Refused, want)
		}
	})
}
