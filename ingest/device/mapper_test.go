package device

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

var noon = time.Date(2025, time.November, 25, 12, 0, 0, 0, time.UTC) // 1764072000 s since 1970

func mapper(t testing.TB, m Mapping) *Mapper {
	t.Helper()
	got, err := New([]Mapping{m}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestNumber(t *testing.T) {
	m := mapper(t, Mapping{Topic: "shelf/{vessel}/temp", Format: Number, Field: "temp_f"})
	for payload, want := range map[string]float64{"68": 20, " 68.0\r\n": 20, "-40": -40, "+6.8e1": 20, "680E-1": 20, "32.": 0, ".5": -17.5} {
		got := m.Decode("shelf/C07/temp", []byte(payload), noon, noon)
		if want := []ingest.Reading{{Vessel: "C07", Quantity: unit.Temperature, Value: want, At: noon}}; !reflect.DeepEqual(got.Readings, want) || len(got.Refused) > 0 {
			t.Errorf("payload %q: got %+v, want %v", payload, got, want)
		}
	}
	if got := m.Decode("shelf/C07/temp", nil, noon, noon); len(got.Readings)+len(got.Refused) > 0 {
		t.Errorf("an empty payload says %+v", got)
	}
}

func TestNumberRefused(t *testing.T) {
	m := mapper(t, Mapping{Topic: "shelf/{vessel}/od", Format: Number, Field: "od_t"})
	tests := []struct {
		topic, in string // ¶ where the refusal points
		reason    ingest.Reason
		detail    string
	}{
		{"shelf/C07/od", "21¶,5", ingest.Unreadable, `"21,5" has a decimal comma: send a decimal point`},
		{"shelf/C07/od", " 21.5¶ C", ingest.Unreadable, `"21.5 C" carries a unit: send the number alone`},
		{"shelf/C07/od", "21.5¶°C", ingest.Unreadable, `carries a unit`},
		{"shelf/C07/od", "40¶%", ingest.Unreadable, `carries a unit`},
		{"shelf/C07/od", "¶nan", ingest.BadValue, `"nan" is no finite number`},
		{"shelf/C07/od", "\n¶-Inf", ingest.BadValue, `"-Inf" is no finite number`},
		{"shelf/C07/od", "¶1e400", ingest.BadValue, `"1e400" is too large a number`},
		{"shelf/C07/od", "¶41.2", ingest.BadValue, `od_t=41.2 is no number that optical density can have`},
		{"shelf/C07/od", "¶rubbish", ingest.Unreadable, `"rubbish" is no number`},
		{"shelf/C07/od", "0¶x1p-2", ingest.Unreadable, `carries a unit`},
		{"shelf/C07/od", "1¶_000", ingest.Unreadable, `"1_000" is no number`},
		{"shelf/C07/od", "1¶ 2", ingest.Unreadable, `"1 2" is no number`},
		{"shelf/C07/od", "-¶", ingest.Unreadable, `"-" is no number`},
		{"shelf/C07/od", "¶  ", ingest.Unreadable, "blank, want a number"},
		{"shelf/C07/od", "0.4\xff", ingest.NotUTF8, "no UTF-8"},
		{"shelf//od", "0.4", ingest.BadVessel, `"" cannot name a vessel`},
		{"shelf/" + strings.Repeat("x", 65) + "/od", "0.4", ingest.BadVessel, "cannot name a vessel"},
	}
	for _, tt := range tests {
		payload := strings.Replace(tt.in, "¶", "", 1)
		got := m.Decode(tt.topic, []byte(payload), noon, noon)
		if len(got.Refused) != 1 || len(got.Readings) > 0 {
			t.Errorf("payload %q: got %+v", payload, got)
			continue
		}
		f := got.Refused[0]
		if f.Reason != tt.reason || !strings.Contains(f.Detail, tt.detail) || f.Topic != tt.topic || string(f.Input) != payload || f.Size != len(payload) {
			t.Errorf("payload %q: refused %+v\nwant %s with %s", payload, f, tt.reason, tt.detail)
		}
		if want := place(tt.in); fmt.Sprintf("%d:%d", f.Line, f.Column) != want {
			t.Errorf("payload %q: refused at %d:%d, want %s", payload, f.Line, f.Column, want)
		}
	}
}

// place returns line and column of the mark in a test's input.
func place(in string) string {
	before, _, marked := strings.Cut(in, "¶")
	if !marked {
		return "0:0"
	}
	return fmt.Sprintf("%d:%d", strings.Count(before, "\n")+1, len(before)-strings.LastIndex(before, "\n"))
}

func TestJSON(t *testing.T) {
	base := Mapping{Topic: "dev/#", VesselField: "id", Format: JSON, TimeField: "t", TimeUnit: "s",
		Fields: map[string]string{"s.od": "od", "s.temp[0]": "temp_c", "lux": "lux"}}
	od := func(v float64, at time.Time) []ingest.Reading {
		return []ingest.Reading{{Vessel: "C07", Quantity: unit.OD, Value: v, At: at}}
	}
	tests := []struct {
		name, unit, in string
		want           []ingest.Reading
	}{
		{"all", "s", `{"id": "C07", "t": 1764072000, "s": {"od": 0.412, "temp": [21.3, 5]}, "lux": 740, "x": {}}`,
			[]ingest.Reading{{Vessel: "C07", Quantity: unit.Light, Value: 10, At: noon}, {Vessel: "C07", Quantity: unit.OD, Value: 0.412, At: noon},
				{Vessel: "C07", Quantity: unit.Temperature, Value: 21.3, At: noon}}},
		{"numbers as texts", "ms", `{"id": "C07", "t": "1764072000000", "s": {"od": " 0.412 "}}`, od(0.412, noon)},
		{"missing and null", "s", `{"id": "C07", "s": {"od": null}, "t": null, "lux": null}`, nil},
		{"no time: arrival", "s", `{"id": "C07", "s": {"od": 1}}`, od(1, noon)},
		{"fraction of a second", "s", `{"id": "C07", "t": 1764071999.123, "s": {"od": 1}}`, od(1, noon.Add(-877*time.Millisecond))},
		{"microseconds", "us", `{"id": "C07", "t": 1764072000000000, "s": {"od": 1}}`, od(1, noon)},
		{"nanoseconds", "ns", `{"id": "C07", "t": 1764072000000000000, "s": {"od": 1}}`, od(1, noon)},
		{"written time", "rfc3339", `{"id": "C07", "t": "2025-11-25T13:00:00.0005+01:00", "s": {"od": 1}}`, od(1, noon)},
		{"vessel is a number", "s", `{"id": 7, "s": {"od": 1}}`, []ingest.Reading{{Vessel: "7", Quantity: unit.OD, Value: 1, At: noon}}},
	}
	for _, tt := range tests {
		m := base
		m.TimeUnit = tt.unit
		got := mapper(t, m).Decode("dev/1", []byte(tt.in), noon, noon)
		if len(got.Refused) > 0 || !reflect.DeepEqual(got.Readings, tt.want) {
			t.Errorf("%s: got %+v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestJSONRefused(t *testing.T) {
	base := Mapping{Topic: "dev/#", VesselField: "id", Format: JSON, TimeField: "t",
		Fields: map[string]string{"od": "od", "t2": "temp_c"}}
	tests := []struct {
		unit, in string // ¶ where the refusal points
		kept     int
		reason   ingest.Reason
		detail   string
	}{
		{"s", `{"id": "C07", "od": true, "t2": 21}`, 1, ingest.BadValue, "od at od: want a number, got true"},
		{"s", `{"id": "C07", "od": "pale", "t2": 21}`, 1, ingest.BadValue, `od at od: "pale" is no number`},
		{"s", `{"id": "C07", "od": "0,4", "t2": 21}`, 1, ingest.BadValue, "decimal comma"},
		{"s", `{"id": "C07", "od": "NaN", "t2": 21}`, 1, ingest.BadValue, `"NaN" is no finite number`},
		{"s", `{"id": "C07", "od": 1e400, "t2": 21}`, 1, ingest.BadValue, "too large a number"},
		{"s", `{"id": "C07", "od": {"v": 1}, "t2": 21}`, 1, ingest.BadValue, "want a number, got an object"},
		{"s", `{"id": "C07", "od": [1], "t2": 21}`, 1, ingest.BadValue, "want a number, got a list"},
		{"s", "{\"id\": \"C07\",\n\"od\": ¶NaN}", 0, ingest.Unreadable, "NaN and Infinity are no JSON: send null"},
		{"s", `{"id": "C07", "od": n¶an}`, 0, ingest.Unreadable, "NaN and Infinity are no JSON: send null"},
		{"s", `{"id": "C07", "od": -¶Infinity}`, 0, ingest.Unreadable, "NaN and Infinity are no JSON: send null"},
		{"s", `{"id": "C07", "od": 1¶`, 0, ingest.Unreadable, "no JSON"},
		{"s", `¶rubbish`, 0, ingest.Unreadable, "no JSON: invalid character 'r'"},
		{"s", `¶ `, 0, ingest.Unreadable, "no JSON: blank"},
		{"s", `{"id": "C07"} ¶{"id": "C08"}`, 0, ingest.Unreadable, "more behind the first value"},
		{"s", "{\"id\": \"C\xff\"}", 0, ingest.NotUTF8, "no UTF-8"},
		{"s", `{"od": 1}`, 0, ingest.BadVessel, "no vessel named: its field is missing"},
		{"s", `[1]`, 0, ingest.BadVessel, "no vessel named"},
		{"s", `{"id": "", "od": 1}`, 0, ingest.BadVessel, `"" cannot name a vessel`},
		{"s", `{"id": "a\u0000", "od": 1}`, 0, ingest.BadVessel, `"a\x00" cannot name a vessel`},
		{"s", `{"id": ["C07"], "od": 1}`, 0, ingest.BadVessel, "holds a list, want a text"},
		{"s", `{"id": "C07", "od": 1, "t": 1764072000000}`, 0, ingest.BadTime, "looks like milliseconds: set the time unit ms"},
		{"s", `{"id": "C07", "od": 1, "t": 12}`, 0, ingest.BadTime, "the clock was never set"},
		{"s", `{"id": "C07", "od": 1, "t": 1764080000.5}`, 0, ingest.BadTime, "ahead of"},
		{"s", `{"id": "C07", "od": 1, "t": 1e300}`, 0, ingest.BadTime, "is no number of seconds"},
		{"s", `{"id": "C07", "od": 1, "t": true}`, 0, ingest.BadTime, "time: want a number, got true"},
		{"rfc3339", `{"id": "C07", "od": 1, "t": "25.11.2025"}`, 0, ingest.BadTime, `time "25.11.2025": want one such as`},
		{"rfc3339", `{"id": "C07", "od": 1, "t": 1764072000}`, 0, ingest.BadTime, "want a text such as 2025-11-25T12:00:00Z, got 1764072000"},
		{"rfc3339", `{"id": "C07", "od": 1, "t": "2025-11-25T12:00:00+00:00"}`, 1, "", ""},
		{"rfc3339", `{"id": "C07", "od": 1, "t": "2023-11-25T12:00:00Z"}`, 0, ingest.BadTime, "731 days before"},
	}
	for _, tt := range tests {
		m := base
		m.TimeUnit = tt.unit
		payload := strings.Replace(tt.in, "¶", "", 1)
		got := mapper(t, m).Decode("dev/1", []byte(payload), noon, noon)
		if len(got.Readings) != tt.kept || len(got.Refused) > 1 || (len(got.Refused) == 0) != (tt.reason == "") {
			t.Errorf("payload %s: got %+v, want %d kept, %s", payload, got, tt.kept, tt.reason)
			continue
		}
		for _, f := range got.Refused {
			if f.Reason != tt.reason || !strings.Contains(f.Detail, tt.detail) || string(f.Input) != payload {
				t.Errorf("payload %s: refused %+v\nwant %s with %s", payload, f, tt.reason, tt.detail)
			}
			if want := place(tt.in); fmt.Sprintf("%d:%d", f.Line, f.Column) != want {
				t.Errorf("payload %s: refused at %d:%d, want %s", payload, f.Line, f.Column, want)
			}
		}
	}
}

func TestTooLarge(t *testing.T) {
	m, err := New([]Mapping{{Topic: "a", Vessel: "C07", Format: Number, Field: "od"}}, Options{MaxPayload: 5000})
	if err != nil {
		t.Fatal(err)
	}
	payload := append([]byte("0.5"), bytes.Repeat([]byte(" "), 4997)...)
	if got := m.Decode("a", payload, noon, noon); len(got.Readings) != 1 {
		t.Errorf("a payload at the limit: %+v", got.Refused)
	}
	got := m.Decode("a", append(payload, ' '), noon, noon)
	if len(got.Refused) != 1 || got.Refused[0].Reason != ingest.TooLarge || len(got.Refused[0].Input) != ingest.MaxRefusedInput || got.Refused[0].Size != 5001 {
		t.Errorf("a payload over the limit: %+v", got)
	}
}

func TestNoTimeAtAll(t *testing.T) {
	for payload, m := range map[string]Mapping{
		"1":   {Topic: "a", Vessel: "C07", Format: Number, Field: "od"},
		"[1]": {Topic: "a", Vessel: "C07", Format: JSON, Fields: map[string]string{"[0]": "od"}},
	} {
		got := mapper(t, m).Decode("a", []byte(payload), time.Time{}, time.Time{})
		if len(got.Refused) != 1 || got.Refused[0].Reason != ingest.BadTime {
			t.Errorf("%s: got %+v", m.Format, got)
		}
	}
}

// FuzzDecode: whatever comes, it does not panic, what is kept is well-formed,
// and a bare number is kept or refused.
func FuzzDecode(f *testing.F) {
	m, err := New([]Mapping{
		{Topic: "n/{vessel}", Format: Number, Field: "od_t"},
		{Topic: "j/{vessel}/#", Format: JSON, Fields: map[string]string{"a.b[0]": "temp_f", "c": "klux"}, TimeField: "t", TimeUnit: "s"},
		{Topic: "k/+", VesselField: "v", Format: JSON, Fields: map[string]string{"c": "od"}, TimeField: "t", TimeUnit: "rfc3339"},
	}, Options{})
	if err != nil {
		f.Fatal(err)
	}
	for topic, payload := range map[string]string{
		"n/C07": " 21,5 C", "n/": "0.4", "n/C08": "1e400", "j/C07": `{"a": {"b": ["68"]}, "c": 1e308, "t": 1764072000.5}`,
		"k/1": `{"v": 7, "c": 0.1, "t": "2025-11-25T12:00:00Z"} x`, "j/C07/x": `{"t": -9223372036854775808, "c": NaN}`, "x": "",
	} {
		f.Add(topic, []byte(payload))
	}
	f.Fuzz(func(t *testing.T, topic string, payload []byte) {
		got := m.Decode(topic, payload, noon, noon)
		for _, r := range got.Readings {
			if !finite(r.Value) || !r.Quantity.Valid() || !ingest.ValidVesselName(r.Vessel) || r.At != ingest.Stamp(r.At) ||
				(ingest.Window{}).Check(r.At, noon, noon) != nil {
				t.Fatalf("kept reading %+v", r)
			}
		}
		for _, r := range got.Refused {
			if r.Detail == "" || r.Size != len(payload) || r.Line < 0 || r.Column < 0 || r.Column > len(payload)+1 || (r.Line == 0) != (r.Column == 0) {
				t.Fatalf("refused %+v", r)
			}
		}
		if said := len(got.Readings) + len(got.Refused); strings.HasPrefix(topic, "n/") && len(payload) > 0 && said != 1 {
			t.Fatalf("a bare number says %d things: %+v", said, got)
		}
	})
}
