package config

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func faultsOf(t *testing.T, data []byte) Faults {
	t.Helper()
	_, err := Parse("room.yaml", data)
	f, ok := Broken(err)
	if !ok {
		t.Fatalf("read with error %v, want faults", err)
	}
	return f
}

func TestFileOfTenMegabytes(t *testing.T) {
	path := filepath.Join(t.TempDir(), "room.yaml")
	if err := os.WriteFile(path, bytes.Repeat([]byte("# not a room\n"), 10<<20/13), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Load(path)
	want := path + ":1:1: the file is longer than 1048576 bytes, too long for one room; is it another file?"
	if err == nil || err.Error() != want {
		t.Errorf("said %v\nwanted %s", err, want)
	}
}

func TestLongestFileIsRead(t *testing.T) {
	text := minimal + "#"
	data := append([]byte(text), bytes.Repeat([]byte("x"), MaxFile-len(text))...)
	if _, err := Parse("room.yaml", data); err != nil {
		t.Error(err)
	}
	if f := faultsOf(t, append(data, 'x')); len(f) != 1 {
		t.Errorf("one byte more: %v", f)
	}
}

func TestFileThatCannotBeRead(t *testing.T) {
	dir := t.TempDir()
	_, err := Load(filepath.Join(dir, "nowhere.yaml"))
	if _, broken := Broken(err); !errors.Is(err, fs.ErrNotExist) || broken {
		t.Errorf("a file that is not there: %v", err)
	}
	if _, err := Load(dir); err == nil || !strings.Contains(err.Error(), dir) {
		t.Errorf("a folder: %v", err)
	}
}

func TestTooManyItems(t *testing.T) {
	var vessels strings.Builder
	for i := range 10001 {
		fmt.Fprintf(&vessels, "- {name: V%d}\n", i)
	}
	f := faultsOf(t, []byte("room: A\nbroker: {embedded: 127.0.0.1:1883}\nvessels:\n"+vessels.String()))
	want := "room.yaml:10004:3: vessels has 10001 items, the first too many here; at most 10000 are read"
	if len(f) != 1 || f[0].Error() != want {
		t.Errorf("said %v\nwanted %s", f, want)
	}
}

// The place of a fault is that of the line that is broken, wherever it is in
// the file and however the lines before it are written.
func TestBrokenLineIsFound(t *testing.T) {
	good := []string{"room: A", "broker: {embedded: 127.0.0.1:1883,", "  username: x", "  }", "data: \"a", "  b", "  c\"", "vessels:"}
	for i := range 200 {
		good = append(good, fmt.Sprintf("  - name: V%d", i), "    kind: bag", "    quantities: [od,", "      temp_c]")
	}
	if f := faultsOf(t, []byte(strings.Join(good, "\n"))); strings.Contains(f.Error(), "YAML") {
		t.Fatalf("the good lines are not: %v", f)
	}
	for _, n := range []int{1, 4, 7, 8, 12, 100, 404, 804} { // between whole values
		bad := append(append(append([]string{}, good[:n]...), "  kind: a: b"), good[n:]...)
		f := faultsOf(t, []byte(strings.Join(bad, "\n")))
		if len(f) != 1 || f[0].Line != n+1 || !strings.Contains(f[0].Message, `"kind: a: b"`) {
			t.Errorf("after line %d: %v", n, f)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"lights_on", "light_hours", "light_shape", "volume_l", "temp_c", "temp_band_k", "url"}
	tests := map[string]string{
		"light_hour": "light_hours", "lightson": "lights_on", "light-shape": "light_shape", "VOLUME_L": "volume_l", "volume": "volume_l",
		"temp": "temp_c", "tmep_c": "temp_c", "ulr": "url", "bubbles": "", "x": "", "": "",
	}
	for word, want := range tests {
		if got := nearest(word, known); got != want {
			t.Errorf("nearest to %q is %q, want %q", word, got, want)
		}
	}
}
