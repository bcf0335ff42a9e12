package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"nightshelf": main})
}

// The command line, as a person types it: scripts in testdata/script.
func TestScripts(t *testing.T) {
	data, err := filepath.Abs(filepath.Join("..", "..", "testdata"))
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:  filepath.Join("testdata", "script"),
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"record": record, "lastid": lastID},
		Setup: func(e *testscript.Env) error {
			e.Setenv("TESTDATA", data)
			return os.Symlink(data, filepath.Join(e.WorkDir, "given"))
		},
	})
}
