package unit

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// tolerance bounds the rounding of one conversion, relative to the number or to
// the offset of its scale.
const tolerance = 1e-12

func TestToKept(t *testing.T) {
	cool, sun := Units{}, Units{LuxPerUmol: 54}
	tests := []struct {
		units    Units
		field    string
		in       float64
		quantity Quantity
		want     float64
		source   string
	}{
		{cool, "od", 0.412, OD, 0.412, "kept unit"},
		{cool, "od2", -0.003, OD2, -0.003, "kept unit"},
		{cool, "ph", 8.2, PH, 8.2, "kept unit"},
		{cool, "temp_c", -127, Temperature, -127, "kept unit"},
		{cool, "par_umol", 92.5, Light, 92.5, "kept unit"},
		{cool, "air_lpm", 1.8, Airflow, 1.8, "kept unit"},
		{cool, "temp_f", 32, Temperature, 0, "ice point, exact by definition"},
		{cool, "temp_f", 212, Temperature, 100, "boiling point, exact by definition"},
		{cool, "temp_f", -40, Temperature, -40, "where the two scales meet, exact"},
		{cool, "temp_k", 273.15, Temperature, 0, "exact by definition of the degree Celsius"},
		{cool, "temp_k", 0, Temperature, -273.15, "absolute zero, exact by definition"},
		{cool, "lux", 74, Light, 1, "Thimijan & Heins 1983, cool white fluorescent"},
		{cool, "lux", 2500, Light, 2500.0 / 74, "FAO 361 table 2.2, lower optimum, under cool white"},
		{sun, "lux", 108000, Light, 2000, "full sun after Apogee's conversion page, factor 54"},
		{sun, "klux", 108, Light, 2000, "the same in klx"},
		{Units{LuxPerUmol: 82}, "klux", 8.2, Light, 100, "Thimijan & Heins 1983, high pressure sodium"},
		{cool, "air_mlmin", 1800, Airflow, 1.8, "1 L = 1000 mL"},
		{cool, "air_lph", 108, Airflow, 1.8, "1 h = 60 min"},
		{cool, "air_m3h", 0.108, Airflow, 1.8, "1 m3 = 1000 L"},
		{cool, "od_t", 0.1, OD, 1, "OD = -log10(I/I0): a tenth transmitted is OD 1"},
		{cool, "od_t", 1, OD, 0, "the blank itself"},
		{cool, "od2_t", 0.01, OD2, 2, "OD = -log10(I/I0)"},
	}
	for _, tt := range tests {
		q, c, err := tt.units.Lookup(tt.field)
		if err != nil {
			t.Errorf("Lookup(%q): %v", tt.field, err)
			continue
		}
		got := c.ToKept(tt.in)
		if q != tt.quantity || math.Abs(got-tt.want) > tolerance*math.Max(1, math.Abs(tt.want)) {
			t.Errorf("%s=%v is %v %v, want %v %v (%s)", tt.field, tt.in, q, got, tt.quantity, tt.want, tt.source)
		}
	}
}

func TestTransmittanceOutOfRange(t *testing.T) {
	_, c, err := Lookup("od_t")
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []float64{0, -0.1, 2, 41.2, math.NaN(), math.Inf(1)} {
		if got := c.ToKept(v); !math.IsNaN(got) {
			t.Errorf("a transmittance of %v gave od %v, want NaN", v, got)
		}
	}
	if got := c.ToKept(1.02); math.IsNaN(got) || got >= 0 {
		t.Errorf("a transmittance just above the blank gave od %v, want a little below 0", got)
	}
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := Units{LuxPerUmol: rapid.Float64Range(20, 120).Draw(t, "factor")}
		field := rapid.SampledFrom(Fields()).Draw(t, "field")
		_, c, err := u.Lookup(field)
		if err != nil {
			t.Fatal(err)
		}
		lo, hi := -1e5, 1e5
		if c.log {
			lo, hi = 1e-6, 1.9
		}
		v := rapid.Float64Range(lo, hi).Draw(t, "value")
		back := c.FromKept(c.ToKept(v))
		if math.Abs(back-v) > tolerance*math.Max(math.Abs(v), 300) {
			t.Fatalf("%s=%v came back as %v", field, v, back)
		}
	})
}

func TestKeptUnitIsUntouched(t *testing.T) {
	for _, q := range All {
		got, c, err := Lookup(q.Field())
		if err != nil || got != q || c.Unit() != q.Unit() {
			t.Errorf("Lookup(%q) = %v in %q, %v; want %v in %q", q.Field(), got, c.Unit(), err, q, q.Unit())
		}
		for _, v := range []float64{0.1, -127, 1e-300, math.MaxFloat64, math.Copysign(0, -1)} {
			if got := c.ToKept(v); math.Float64bits(got) != math.Float64bits(v) {
				t.Errorf("%s=%v became %v", q.Field(), v, got)
			}
		}
	}
}

func TestFields(t *testing.T) {
	want := []string{"od", "temp_c", "par_umol", "air_lpm", "od2", "ph",
		"od_t", "od2_t", "temp_f", "temp_k", "lux", "klux", "air_mlmin", "air_lph", "air_m3h"}
	if got := Fields(); !slices.Equal(got, want) {
		t.Errorf("Fields() = %v, want %v", got, want)
	}
	for _, name := range want {
		if _, _, err := Lookup(name); err != nil {
			t.Errorf("Lookup(%q): %v", name, err)
		}
	}
}

func TestLookupErrors(t *testing.T) {
	tests := []struct {
		units Units
		field string
		want  string
	}{
		{Units{}, "temp_r", `unknown field "temp_r": did you mean temp_c, temp_f or temp_k?`},
		{Units{}, "Temp_C", `unknown field "Temp_C": did you mean temp_c?`},
		{Units{}, "temperature", `unknown field "temperature": did you mean temp_c, temp_f or temp_k?`},
		{Units{}, "par_umoll", `unknown field "par_umoll": did you mean par_umol?`},
		{Units{}, "par", `unknown field "par": did you mean par_umol?`},
		{Units{}, "air_lpn", `unknown field "air_lpn": did you mean air_lpm or air_lph?`},
		{Units{}, "o", `unknown field "o": known are od, temp_c, par_umol, air_lpm, od2, ph, od_t, od2_t, temp_f, temp_k, lux, klux, air_mlmin, air_lph and air_m3h`},
		{Units{}, "salinity", `unknown field "salinity": known are od, temp_c, par_umol, air_lpm, od2, ph, od_t, od2_t, temp_f, temp_k, lux, klux, air_mlmin, air_lph and air_m3h`},
		{Units{LuxPerUmol: -1}, "lux", `lux per umol is -1: want a number above 0, such as 74`},
		{Units{LuxPerUmol: math.NaN()}, "klux", `lux per umol is NaN: want a number above 0, such as 74`},
		{Units{LuxPerUmol: math.Inf(1)}, "lux", `lux per umol is +Inf: want a number above 0, such as 74`},
	}
	for _, tt := range tests {
		q, _, err := tt.units.Lookup(tt.field)
		if err == nil || err.Error() != tt.want || q != 0 {
			t.Errorf("Lookup(%q) = %v, %v\nwant error %s", tt.field, q, err, tt.want)
		}
	}
}

func TestQuantityWords(t *testing.T) {
	for _, q := range All {
		if !q.Valid() || q.Field() == "" || q.String() == "" || int(q) >= Count {
			t.Errorf("quantity %d has no words: field %q, name %q", q, q.Field(), q)
		}
	}
	for _, q := range []Quantity{0, Count, 255} {
		if q.Valid() || q.Field() != "" || q.Unit() != "" || q.String() != "no quantity" {
			t.Errorf("quantity %d passes as %q with field %q", q, q, q.Field())
		}
	}
}
