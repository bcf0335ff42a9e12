package device

import (
	"errors"
	"reflect"
	"slices"
	"testing"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

func TestNewErrors(t *testing.T) {
	good := Mapping{Topic: "shelf/{vessel}/od", Format: Number, Field: "od"}
	fields := map[string]string{"od": "od"}
	tests := []struct {
		mapping   Mapping
		key, want string
	}{
		{Mapping{}, "topic", `mapping 2 (topic ""): topic: no topic`},
		{Mapping{Topic: "a/#/b"}, "topic", `mapping 2 (topic "a/#/b"): topic: topic has # before its end`},
		{Mapping{Topic: "a/{vessel}/{vessel}"}, "topic", `mapping 2 (topic "a/{vessel}/{vessel}"): topic: topic has {vessel} twice`},
		{Mapping{Topic: "a/od-{vessel}"}, "topic", `mapping 2 (topic "a/od-{vessel}"): topic: topic level "od-{vessel}": +, # and {vessel} must be a level of their own`},
		{Mapping{Topic: "a/\xff"}, "topic", `mapping 2 (topic "a/\xff"): topic: topic is no UTF-8 text of at most 65535 bytes without NUL`},
		{Mapping{Topic: "a", Format: Number, Field: "od"}, "vessel", `mapping 2 (topic "a"): vessel: want one of a fixed vessel, a vessel field and {vessel} in the topic, got 0`},
		{Mapping{Topic: "{vessel}", Vessel: "C07", Format: Number, Field: "od"}, "vessel", `mapping 2 (topic "{vessel}"): vessel: want one of a fixed vessel, a vessel field and {vessel} in the topic, got 2`},
		{Mapping{Topic: "a", Vessel: "C\n", Format: Number, Field: "od"}, "vessel", `mapping 2 (topic "a"): vessel: "C\n" cannot name a vessel`},
		{Mapping{Topic: "a", VesselField: "v", Format: Number, Field: "od"}, "vessel", `mapping 2 (topic "a"): vessel: a bare number has no vessel field`},
		{Mapping{Topic: "a", VesselField: "v[", Format: JSON, Fields: fields}, "vessel", `mapping 2 (topic "a"): vessel: path "v[": cannot read "["`},
		{Mapping{Topic: "a", Vessel: "C07"}, "format", `mapping 2 (topic "a"): format: unknown format "": want number or json`},
		{Mapping{Topic: "a", Vessel: "C07", Format: Number}, "field", `mapping 2 (topic "a"): field: a bare number needs a field that says what it is`},
		{Mapping{Topic: "a", Vessel: "C07", Format: Number, Field: "temp_r"}, "field", `mapping 2 (topic "a"): field: unknown field "temp_r": did you mean temp_c, temp_f or temp_k?`},
		{Mapping{Topic: "a", Vessel: "C07", Format: Number, Field: "od", Fields: fields}, "fields", `mapping 2 (topic "a"): fields: a bare number has only one field`},
		{Mapping{Topic: "a", Vessel: "C07", Format: Number, Field: "od", TimeField: "t"}, "time_field", `mapping 2 (topic "a"): time_field: a bare number has no time`},
		{Mapping{Topic: "a", Vessel: "C07", Format: JSON}, "fields", `mapping 2 (topic "a"): fields: no fields: nothing would be read`},
		{Mapping{Topic: "a", Vessel: "C07", Format: JSON, Field: "od"}, "field", `mapping 2 (topic "a"): field: JSON takes fields, a path for each, not a field`},
		{Mapping{Topic: "a", Vessel: "C07", Format: JSON, Fields: map[string]string{"": "od"}}, "fields", `mapping 2 (topic "a"): fields: path "" names nothing`},
		{Mapping{Topic: "a", Vessel: "C07", Format: JSON, Fields: map[string]string{"t": "temp"}}, "fields", `mapping 2 (topic "a"): fields: unknown field "temp": did you mean temp_c, temp_f or temp_k?`},
		{Mapping{Topic: "a", Vessel: "C07", Format: JSON, Fields: map[string]string{"t": "temp_c", "f": "temp_f"}}, "fields", `mapping 2 (topic "a"): fields: "f" and "t" both give the temperature`},
		{Mapping{Topic: "a", Vessel: "C07", Format: JSON, Fields: fields, TimeUnit: "s"}, "time_unit", `mapping 2 (topic "a"): time_unit: a time unit without a time field`},
		{Mapping{Topic: "a", Vessel: "C07", Format: JSON, Fields: fields, TimeField: "t"}, "time_unit", `mapping 2 (topic "a"): time_unit: unknown time unit "": want s, ms, us, ns or rfc3339`},
		{Mapping{Topic: "a", Vessel: "C07", Format: JSON, Fields: fields, TimeField: "$", TimeUnit: "s"}, "time_field", `mapping 2 (topic "a"): time_field: path "$" names nothing`},
	}
	for _, tt := range tests {
		_, err := New([]Mapping{good, tt.mapping}, Options{})
		var at *MappingError
		if !errors.As(err, &at) || at.Index != 1 || at.Key != tt.key || err.Error() != tt.want {
			t.Errorf("got  %v\nwant %s, key %s", err, tt.want, tt.key)
		}
	}
	_, err := New([]Mapping{{Topic: "a", Vessel: "C07", Format: Number, Field: "lux"}}, Options{Units: unit.Units{LuxPerUmol: -1}})
	if want := `mapping 1 (topic "a"): field: lux per umol is -1: want a number above 0, such as 74`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestFirstMappingCounts(t *testing.T) {
	m, err := New([]Mapping{
		{Topic: "shelf/{vessel}/od", Format: Number, Field: "od"},
		{Topic: "shelf/+/#", Vessel: "C09", Format: Number, Field: "ph"},
	}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := m.Filters(), []string{"shelf/+/od", "shelf/+/#"}; !slices.Equal(got, want) {
		t.Errorf("filters %v, want %v", got, want)
	}
	for topic, want := range map[string]unit.Quantity{"shelf/C07/od": unit.OD, "shelf/C07/ph": unit.PH, "shelf/C07": unit.PH} {
		if got := m.Decode(topic, []byte("7"), noon, noon); !m.Match(topic) || len(got.Readings) != 1 || got.Readings[0].Quantity != want {
			t.Errorf("%s: got %+v, want %v", topic, got, want)
		}
	}
	if got := m.Decode("other", []byte("7"), noon, noon); m.Match("other") || len(got.Readings) > 0 || len(got.Refused) != 1 {
		t.Errorf("a topic of no mapping: got %+v", got)
	}
}

func TestPath(t *testing.T) {
	v, _, err := parseJSON([]byte(`{"a": {"b": [{"c": "x"}, "y"], "two words": "z", "e.f": "w", "n": null}}`))
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]any{
		"a.b[0].c": "x", "$.a.b[1]": "y", "a['two words']": "z", `$["a"]['e.f']`: "w", "$.a.two words": "z",
		"a.b[2]": nil, "a.b.c": nil, "a[0]": nil, "a.n": nil, "a.b[0].c.d": nil, "x": nil,
	} {
		p, err := parsePath(text)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if got, ok := p.in(v); !reflect.DeepEqual(got, want) || ok != (want != nil) {
			t.Errorf("%s leads to %v, want %v", text, got, want)
		}
	}
	for _, text := range []string{"", "$", ".", "a.", "a..b", "a[", "a[x]", "a[-1]", "a['b]", "a[0]b", "[", "a[99999999999]", "a[0"} {
		if p, err := parsePath(text); err == nil {
			t.Errorf("path %q reads as %+v", text, p)
		}
	}
}
