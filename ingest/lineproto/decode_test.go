package lineproto

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// The time of the examples: 1764072000 s since 1970.
var (
	noon   = time.Date(2025, time.November, 25, 12, 0, 0, 0, time.UTC)
	always time.Time // reference that takes any age
)

func decoder(t testing.TB, o Options) *Decoder {
	t.Helper()
	d, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func r(vessel string, q unit.Quantity, v float64, at time.Time) ingest.Reading {
	return ingest.Reading{Vessel: vessel, Quantity: q, Value: v, At: at}
}

func TestDecodeReadings(t *testing.T) {
	late := noon.Add(90 * time.Millisecond)
	tests := []struct {
		name, in string
		options  Options
		want     []ingest.Reading
	}{
		{"nothing", "", Options{}, nil},
		{"blank lines and comments", "\n \n\t\n# reading,vessel=C07 od=1\n  # \x01\n\r\n", Options{}, nil},
		{"contract", "reading,vessel=C07 od=0.412,temp_c=21.3,par_umol=92.5,air_lpm=1.8 1764072000000000000", Options{},
			[]ingest.Reading{r("C07", unit.OD, 0.412, noon), r("C07", unit.Temperature, 21.3, noon),
				r("C07", unit.Light, 92.5, noon), r("C07", unit.Airflow, 1.8, noon)}},
		{"no stamp: arrived", "reading,vessel=C07 ph=8.2\nreading,vessel=C07 od2=1 ", Options{},
			[]ingest.Reading{r("C07", unit.PH, 8.2, late), r("C07", unit.OD2, 1, late)}},
		{"integers", "reading,vessel=C07 od=1i,temp_c=-3i,par_umol=90u 1764072000000000000", Options{},
			[]ingest.Reading{r("C07", unit.OD, 1, noon), r("C07", unit.Temperature, -3, noon), r("C07", unit.Light, 90, noon)}},
		{"other units", "reading,vessel=C07 temp_f=68,lux=540,air_mlmin=1800 1764072000000000000", Options{Units: unit.Units{LuxPerUmol: 54}},
			[]ingest.Reading{r("C07", unit.Temperature, 20, noon), r("C07", unit.Light, 10, noon), r("C07", unit.Airflow, 1.8, noon)}},
		{"later field wins, under either name", "reading,vessel=C07 od=1,temp_c=10,od=2,temp_f=68 1764072000000000000", Options{},
			[]ingest.Reading{r("C07", unit.OD, 2, noon), r("C07", unit.Temperature, 20, noon)}},
		{"repeated line is repeated", "reading,vessel=C07 od=1 1764072000000000000\nreading,vessel=C07 od=1 1764072000000000000\n", Options{},
			[]ingest.Reading{r("C07", unit.OD, 1, noon), r("C07", unit.OD, 1, noon)}},
		{"carriage returns", "reading,vessel=C07 od=1 1764072000000000000\r\nreading,vessel=C08 od=2\r\n\r\n", Options{},
			[]ingest.Reading{r("C07", unit.OD, 1, noon), r("C08", unit.OD, 2, late)}},
		{"blanks before and between", "   reading,vessel=C07   od=1   1764072000000000000  ", Options{},
			[]ingest.Reading{r("C07", unit.OD, 1, noon)}},
		{"other tags", "reading,host=a,vessel=C07,who=x,zone=b od=1 1764072000000000000", Options{},
			[]ingest.Reading{r("C07", unit.OD, 1, noon)}},
		{"escaped and foreign names", `reading,vessel=carboy\ 7\,\ Säule\=3 od=1 1764072000000000000`, Options{},
			[]ingest.Reading{r("carboy 7, Säule=3", unit.OD, 1, noon)}},
		{"seconds", "reading,vessel=C07 od=1 1764072000", Options{Precision: ingest.Seconds},
			[]ingest.Reading{r("C07", unit.OD, 1, noon)}},
		{"milliseconds", "reading,vessel=C07 od=1 1764072000090", Options{Precision: ingest.Milliseconds},
			[]ingest.Reading{r("C07", unit.OD, 1, late)}},
		{"microseconds, cut to a millisecond", "reading,vessel=C07 od=1 1764072000090999", Options{Precision: ingest.Microseconds},
			[]ingest.Reading{r("C07", unit.OD, 1, late)}},
		{"a large and a small number", "reading,vessel=C07 od=-1e-300,ph=1.7e308 1764072000000000000", Options{},
			[]ingest.Reading{r("C07", unit.OD, -1e-300, noon), r("C07", unit.PH, 1.7e308, noon)}},
	}
	for _, tt := range tests {
		got := decoder(t, tt.options).Decode([]byte(tt.in), late, late)
		if len(got.Refused)+len(got.Entries) > 0 || !got.Arrived.Equal(late) || got.Seq != 0 {
			t.Errorf("%s: got %+v, want readings only", tt.name, got)
		}
		if len(got.Readings)+len(tt.want) > 0 && !reflect.DeepEqual(got.Readings, tt.want) {
			t.Errorf("%s: got %v, want %v", tt.name, got.Readings, tt.want)
		}
	}
}

func TestDecodeEntries(t *testing.T) {
	arrived := noon.Add(time.Hour)
	written := noon.Add(10 * time.Minute)
	tests := []struct {
		name, in string
		want     ingest.Entry
	}{
		{"contract", `event,vessel=C07,kind=harvest volume_l=6,refilled=true,written_at=1764072600000000000i 1764072000000000000`,
			ingest.Entry{Vessel: "C07", Kind: ingest.Harvest, At: noon, Written: written,
				Fields: map[string]ingest.Value{"volume_l": ingest.Num(6), "refilled": ingest.Bool(true)}}},
		{"all forms", `event,vessel=C07,kind=set a=1i,b=2u,c=-0.5,d=F,e="x \"y\", z = 1",a=3i 1764072000000000000`,
			ingest.Entry{Vessel: "C07", Kind: ingest.Set, At: noon, Written: arrived, WrittenOnArrival: true,
				Fields: map[string]ingest.Value{"a": ingest.Num(3), "b": ingest.Num(2), "c": ingest.Num(-0.5),
					"d": ingest.Bool(false), "e": ingest.Text(`x "y", z = 1`)}}},
		{"unsigned, and no own field", `event,vessel=C07,kind=wipe_sensor written_at=1764072600000000000u 1764072000000000000`,
			ingest.Entry{Vessel: "C07", Kind: ingest.WipeSensor, At: noon, Written: written}},
		{"who by tag", `event,kind=remark,vessel=C07,who=night\ hand text="pale" 1764072000000000000`,
			ingest.Entry{Vessel: "C07", Kind: ingest.Remark, Who: "night hand", At: noon, Written: arrived, WrittenOnArrival: true,
				Fields: map[string]ingest.Value{"text": ingest.Text("pale")}}},
		{"who by field", `event,vessel=C07,kind=look who="day hand" 1764072000000000000`,
			ingest.Entry{Vessel: "C07", Kind: ingest.Look, Who: "day hand", At: noon, Written: arrived, WrittenOnArrival: true}},
		{"no times", `event,vessel=C07,kind=feed volume_l=1`,
			ingest.Entry{Vessel: "C07", Kind: ingest.Feed, At: arrived, Written: arrived, WrittenOnArrival: true,
				Fields: map[string]ingest.Value{"volume_l": ingest.Num(1)}}},
		{"written on arrival, as recorded", `event,vessel=C07,kind=dump written_at=1764072600000000000i,written_on_arrival=true 1764072000000000000`,
			ingest.Entry{Vessel: "C07", Kind: ingest.Dump, At: noon, Written: written, WrittenOnArrival: true}},
	}
	for _, tt := range tests {
		got := decoder(t, Options{}).Decode([]byte(tt.in), arrived, arrived)
		if len(got.Refused) > 0 || len(got.Entries) != 1 || !reflect.DeepEqual(got.Entries[0], tt.want) {
			t.Errorf("%s: got %+v\nrefused %v\nwant %+v", tt.name, got.Entries, got.Refused, tt.want)
		}
	}
}

func TestWrittenAtIgnoresPrecision(t *testing.T) {
	d := decoder(t, Options{Precision: ingest.Seconds})
	got := d.Decode([]byte("event,vessel=C07,kind=look written_at=1764072000000000000i 1764072000"), noon, noon)
	if len(got.Entries) != 1 || !got.Entries[0].At.Equal(noon) || !got.Entries[0].Written.Equal(noon) {
		t.Errorf("got %+v", got)
	}
}

func TestNothingRefersToThePayload(t *testing.T) {
	payload := []byte("reading,vessel=C07,x=y od=1,foo=2\nevent,vessel=C08,kind=remark,who=me text=\"pale\"\nrubbish\n")
	d := decoder(t, Options{})
	got := d.Decode(payload, noon, noon)
	want := d.Decode([]byte(strings.Clone(string(payload))), noon, noon)
	for i := range payload {
		payload[i] = '?'
	}
	if !reflect.DeepEqual(got, want) || len(got.Readings) != 1 || len(got.Entries) != 1 || len(got.Refused) != 2 {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestRecordOfAnyAge(t *testing.T) {
	d := decoder(t, Options{})
	old := time.Date(2003, time.July, 10, 0, 0, 0, 0, time.UTC)
	line, err := AppendReading(nil, r("C07", unit.OD, 1, old))
	if err != nil {
		t.Fatal(err)
	}
	if got := d.Decode(line, noon, always); len(got.Readings) != 1 {
		t.Errorf("a record of 2003 is refused without a reference: %v", got.Refused)
	}
	if got := d.Decode(line, noon, noon); len(got.Refused) != 1 || got.Refused[0].Reason != ingest.BadTime {
		t.Errorf("a reading of 2003 is taken live: %v", got.Readings)
	}
	got := d.Decode([]byte("event,vessel=C07,kind=look depth=1 1764072000000000000"), time.Time{}, always)
	if len(got.Entries) != 1 || !got.Entries[0].Written.Equal(noon) || !got.Entries[0].WrittenOnArrival {
		t.Errorf("with no time of arrival an entry counts as written when it happened: got %+v", got.Entries)
	}
}

func TestNewErrors(t *testing.T) {
	tests := []struct {
		options Options
		want    string
	}{
		{Options{Precision: "h"}, `line protocol: unknown precision "h": want ns, us, ms or s`},
		{Options{Units: unit.Units{LuxPerUmol: math.Inf(1)}}, `line protocol: field "lux": lux per umol is +Inf: want a number above 0, such as 74`},
	}
	for _, tt := range tests {
		if _, err := New(tt.options); err == nil || err.Error() != tt.want {
			t.Errorf("New(%+v): error %v, want %s", tt.options, err, tt.want)
		}
	}
}
