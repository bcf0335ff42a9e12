package config

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write testdata/bad.txt again from what is said now")

// Every rule has a file that breaks it, and testdata/bad.txt has what is said
// of each, word for word: messages are interface.
func TestBadFiles(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.yaml")
	if err != nil || len(files) < 100 {
		t.Fatalf("%d bad files found: %v", len(files), err)
	}
	var said strings.Builder
	for _, f := range files {
		c, err := Load(f)
		var faults Faults
		if !errors.As(err, &faults) || c != nil {
			t.Errorf("%s: read as %v with error %v, want faults", f, c, err)
			continue
		}
		for _, fault := range faults {
			if fault.Line < 1 || fault.Column < 1 {
				t.Errorf("%s: a fault without a place: %v", f, fault)
			}
		}
		fmt.Fprintln(&said, strings.ReplaceAll(faults.Error(), "testdata/bad/", ""))
	}
	if *update {
		if err := os.WriteFile("testdata/bad.txt", []byte(said.String()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("testdata/bad.txt")
	if err != nil {
		t.Fatal(err)
	}
	got, expected := strings.Split(said.String(), "\n"), strings.Split(string(want), "\n")
	for i := range max(len(got), len(expected)) {
		if g, w := at(got, i), at(expected, i); g != w {
			t.Errorf("said    %s\nwanted  %s", g, w)
		}
	}
}

func at(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return "(nothing)"
}

// No message speaks of how the program is made.
func TestMessagesAreForPeople(t *testing.T) {
	said, err := os.ReadFile("testdata/bad.txt")
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"yaml: ", "unmarshal", "struct", "config.", "float64", "interface {}", "strconv", "!!str", "%!"} {
		if strings.Contains(string(said), word) {
			t.Errorf("a message says %q", word)
		}
	}
}

func TestExampleIsRead(t *testing.T) {
	c, err := Load("../testdata/room.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Vessels) != 6 || !c.Vessels[5].ByHand || c.Vessels[4].Kind != "bag" || c.Vessels[0].VolumeL != 18 || len(c.Warnings) != 0 {
		t.Errorf("read as %+v", c)
	}
}

func TestDefaults(t *testing.T) {
	c, err := Parse("room.yaml", []byte("room: A\nbroker: {embedded: 127.0.0.1:1883}\nvessels: [{name: C01}]\n"))
	if err != nil {
		t.Fatal(err)
	}
	v := c.Vessels[0]
	if c.Zone.String() != "UTC" || c.Listen != "127.0.0.1:8470" || c.Clock != Wall || c.FalseCallsAMonth != 1 || c.Broker.ClientID != "nightshelf-a" {
		t.Errorf("room read as %+v", c)
	}
	if v.Kind != "carboy" || v.LightShape != "square" || v.TempBandK != 3 || v.LightsOn != -1 || v.TempC == v.TempC { //nolint:staticcheck // NaN is unlike itself
		t.Errorf("vessel read as %+v", v)
	}
}

func FuzzParse(f *testing.F) {
	files, _ := filepath.Glob("testdata/bad/*.yaml")
	for _, name := range append(files, "../testdata/room.yaml") {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Parse("room.yaml", data)
		var faults Faults
		switch {
		case err == nil && (c == nil || len(c.Vessels) == 0):
			t.Error("no fault and no room")
		case err != nil && !errors.As(err, &faults):
			t.Errorf("an error without places: %v", err)
		}
		for _, fault := range faults {
			if fault.Line < 1 || fault.Message == "" {
				t.Errorf("a fault without a place or words: %+v", fault)
			}
		}
	})
}
