package config

import (
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

func loadFull(t *testing.T) *Config {
	t.Helper()
	c, err := Load("testdata/good/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func same(t *testing.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s is %+v, want %+v", what, got, want)
	}
}

// Every key that there is stands in full.yaml, with a value unlike its default.
func TestFullRoom(t *testing.T) {
	c := loadFull(t)
	same(t, "room", c.Room, "Demo hatchery")
	same(t, "zone", c.Zone.String(), "Atlantic/Azores")
	same(t, "data", c.Data, filepath.Join("testdata", "good", "shelf.db"))
	same(t, "listen", c.Listen, "0.0.0.0:8470")
	same(t, "behind_proxy", c.BehindProxy, true)
	same(t, "public_url", c.PublicURL, "https://shelf.example/room")
	same(t, "clock", c.Clock, Readings)
	same(t, "lateness", c.Lateness, 15*time.Minute)
	same(t, "false_calls_a_month", c.FalseCallsAMonth, 0.5)
	same(t, "reference_lots", c.ReferenceLots, []string{"TE-104", "TE-109"})
	same(t, "reference_runs", c.ReferenceRuns, filepath.Join("testdata", "good"))
	same(t, "lamp_lux_per_umol", c.LampLuxPerUmol, 62.5)
	same(t, "shifts", []string{c.Staffed[0].String(), c.Staffed[1].String()}, []string{"mon-fri 08:00-17:30", "sat,sun 22:00-06:00"})
}

func TestFullBroker(t *testing.T) {
	b := loadFull(t).Broker
	same(t, "password", b.Password.Reveal(), "hush")
	b.Password = Secret{}
	same(t, "broker", b, Broker{URL: "ssl://broker.example:8883", ClientID: "shelf-1", Username: "x",
		Topics: []string{"nursery/#", "yard/+/line"}, Precision: time.Millisecond, MaxPayload: 512 << 10})
}

func TestFullDevices(t *testing.T) {
	c := loadFull(t)
	same(t, "devices", c.Devices, []Device{
		{Topic: "bench/{vessel}/od", Format: "number", Field: "od_t", TimeUnit: "s"},
		{Topic: "bench/{vessel}/env", Format: "json", Fields: []Value{{"box.t", "temp_f"}, {"lamp", "klux"}}, Time: "ts", TimeUnit: "rfc3339"},
		{Topic: "nursery/probe/17", Vessel: "C07", Format: "number", Field: "air_lph", TimeUnit: "s"},
		{Topic: "gate/+", VesselField: "who", Format: "json", Fields: []Value{{"ph", "ph"}}, TimeUnit: "s"},
	})
	same(t, "filters", c.Filters(), []string{"nursery/#", "yard/+/line", "bench/+/od", "bench/+/env", "gate/+"})
}

func TestFullPhones(t *testing.T) {
	p := loadFull(t).Phones
	same(t, "names", []string{p[0].Name, p[1].Name}, []string{"duty", "porch"})
	same(t, "urls", []string{p[0].URL, p[1].URL}, []string{"https://push.example/topic", "http://192.168.1.20/call"})
	same(t, "allow_private", []bool{p[0].AllowPrivate, p[1].AllowPrivate}, []bool{false, true})
	same(t, "timeouts", []time.Duration{p[0].Timeout, p[1].Timeout}, []time.Duration{5 * time.Second, 15 * time.Second})
	same(t, "body", p[0].Body, "{{json .Data.Text}}")
	same(t, "secret", p[0].Secret.Reveal(), "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	var headers []string
	for _, h := range p[0].Headers {
		headers = append(headers, h.Name+": "+h.Value.Reveal())
	}
	same(t, "headers", headers, []string{"Authorization: hush", "X-Shelf: night"})
}

func TestFullRecipesAndBleach(t *testing.T) {
	c := loadFull(t)
	same(t, "bleach", c.Bleach, Bleach{Percent: 5.25, By: "available-volume"})
	same(t, "recipes", c.Recipes, []Recipe{{Name: "house", Parts: []Part{
		{Name: "A", MLPerL: 0.25, Salts: []Salt{{"Ca(NO3)2.4H2O", 300, "N"}, {"NaH2PO4·H2O", 20, "P"}}},
		{Name: "B", MLPerL: 0.25},
		{Name: "silicate", MLPerL: 1, DiatomsOnly: true, Salts: []Salt{{"Na2SiO3.9H2O", 30, "Si"}}},
	}}})
}

// A vessel's own words go before defaults, and those before what is usual.
func TestFullVessels(t *testing.T) {
	v := loadFull(t).Vessels
	same(t, "first vessel", v[0], Vessel{Name: "C07", Kind: "column", VolumeL: 25, LightsOn: 5*time.Hour + 30*time.Minute,
		LightHours: 14*time.Hour + 30*time.Minute, LightShape: "sine", ParUmol: 180, TempC: -1.5, TempBandK: 2, AirLpm: 4.5,
		Interval: 30 * time.Second, Quantities: []unit.Quantity{unit.OD, unit.PH}, HarvestOD: 0.3})
	if !math.IsNaN(v[1].TempC) {
		t.Errorf("temperature of the second vessel is %v, want unknown", v[1].TempC)
	}
	v[1].TempC = 0
	same(t, "second vessel", v[1], Vessel{Name: "17", Kind: "carboy", VolumeL: 19, LightsOn: 5 * time.Hour, LightHours: 16 * time.Hour,
		LightShape: "square", TempBandK: 3})
}

// minimal is a room in which nothing is said that need not be.
const minimal = "room: A\nbroker: {embedded: 127.0.0.1:1883}\nvessels: [{name: C01}]\n"

func TestWarnings(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"quiet", minimal, ""},
		{"client id of nobody", strings.Replace(minimal, ":1883}", ":1883, client_id: x}", 1),
			`2:47: client_id "x" is not used: the embedded broker has no client`},
		{"password in the open", "room: A\nbroker:\n  url: tcp://broker.example:1883\n  username: x\nvessels: [{name: C01}]\n",
			`3:8: the password of "x" crosses the network unprotected with "tcp://broker.example:1883"`},
		{"call in the open", minimal + "phones:\n  - {name: a, url: \"http://push.example\", secret_file: testdata/secret/good}\n",
			`5:20: calls to "http://push.example" can be read by everyone on their way; use https://`},
		{"token in the file", minimal + "phones:\n  - {name: a, url: \"https://push.example\", secret_file: testdata/secret/good, headers: {Cookie: {value: hush}}}\n",
			`5:105: the header "Cookie" stands open in this file`},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			c, err := Parse("room.yaml", []byte(test.text))
			if err != nil {
				t.Fatal(err)
			}
			var said []string
			for _, w := range c.Warnings {
				// Whether everyone can read the files here depends on how they were checked out.
				if !strings.Contains(w.Message, "every user of this machine") {
					said = append(said, w.Error())
				}
			}
			found := slices.ContainsFunc(said, func(s string) bool { return strings.HasPrefix(s, "room.yaml:"+test.want) })
			if test.want == "" && len(said) > 0 || test.want != "" && (len(said) != 1 || !found) {
				t.Errorf("warned of %q, want %q", said, test.want)
			}
			for _, s := range said {
				if strings.Contains(s, "hush") {
					t.Errorf("a warning tells a secret: %s", s)
				}
			}
		})
	}
}

func TestClientID(t *testing.T) {
	tests := map[string]string{
		"Demo hatchery":           "nightshelf-demo-hatchery",
		"  Tank #4 (north) ":      "nightshelf-tank-4-north",
		"日本":                      "nightshelf",
		strings.Repeat("ab ", 40): "nightshelf-" + strings.Repeat("ab-", 17) + "ab",
	}
	for room, want := range tests {
		if got := clientID(room); got != want || len(got) > 64 {
			t.Errorf("client id of %q is %q, want %q", room, got, want)
		}
	}
}

// A vessel that is counted by hand is not waited for, whatever the others send.
func TestByHand(t *testing.T) {
	c, err := Parse("room.yaml", []byte("room: A\nbroker: {embedded: 127.0.0.1:1883}\ndefaults: {interval: 2m, quantities: [od, temp_c]}\n"+
		"vessels: [{name: C01}, {name: F01, by_hand: true}, {name: F02, by_hand: true, quantities: [temp_c]}]\n"))
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []Vessel{
		{Interval: 2 * time.Minute, Quantities: []unit.Quantity{unit.OD, unit.Temperature}},
		{ByHand: true},
		{ByHand: true, Interval: 2 * time.Minute, Quantities: []unit.Quantity{unit.Temperature}},
	} {
		v := c.Vessels[i]
		same(t, v.Name, Vessel{ByHand: v.ByHand, Interval: v.Interval, Quantities: v.Quantities}, want)
	}
}
