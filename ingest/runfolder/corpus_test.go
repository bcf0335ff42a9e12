package runfolder

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// shared returns a folder of the shared material, or skips.
func shared(t *testing.T, name string) string {
	t.Helper()
	root := os.Getenv("NIGHTSHELF_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	dir := filepath.Join(root, name)
	if _, err := os.Stat(dir); err != nil {
		t.Skipf("no shared material: %v", err)
	}
	return dir
}

func TestSharedFoldersOpen(t *testing.T) {
	for _, name := range []string{"corpus", "real-wells"} {
		t.Run(name, func(t *testing.T) {
			dirs, err := List(shared(t, name))
			if err != nil {
				t.Fatal(err)
			}
			for _, dir := range dirs {
				checkFolder(t, dir)
			}
		})
	}
}

// checkFolder compares a folder with a plain scan of its files.
func checkFolder(t *testing.T, dir string) {
	t.Helper()
	f, err := Open(dir)
	if err != nil {
		t.Error(err)
		return
	}
	count := func(name string, n int) {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Error(err)
		} else if lines := bytes.Count(data, []byte("\n")); lines != n+1 {
			t.Errorf("%s: %d rows of %s, want %d", dir, n, name, lines-1)
		}
	}
	count(VesselsFile, len(f.Vessels))
	count(LotsFile, len(f.Lots))
	for _, v := range f.Vessels {
		if v.VolumeL <= 0 || v.LightsOn < 0 || v.LightHours <= 0 || v.Interval <= 0 || v.TempC != v.TempC || v.ParUmol <= 0 {
			t.Errorf("%s: something of %s was not understood: %+v", dir, v.Name, v)
		}
	}
	for _, l := range f.Lots {
		if l.Name == "" || l.Inoculated.IsZero() || l.Strain == "" {
			t.Errorf("%s: something of a lot was not understood: %+v", dir, l)
		}
	}
	if all(t, f.Readings()) != plain(t, filepath.Join(dir, ReadingsFileGz)) {
		t.Errorf("%s: readings differ from a plain scan", dir)
	}
	if all(t, f.Events()) != plain(t, filepath.Join(dir, EventsFile)) {
		t.Errorf("%s: entries differ from a plain scan", dir)
	}
}

func plain(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err == nil && filepath.Ext(path) == ".gz" {
		var r *gzip.Reader
		if r, err = gzip.NewReader(bytes.NewReader(data)); err == nil {
			data, err = io.ReadAll(r)
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
