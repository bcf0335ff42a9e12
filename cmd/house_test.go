// Package cmd_test holds the house in order: which package may import which.
package cmd_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "github.com/nightshelf/nightshelf"

// street is the direction of imports: a package may import those to its
// right, never to its left, so that what is decided can be replayed without
// what delivers it, and what is read without what decides.
var street = []string{"cmd", "alerts", "analysis", "ingest"}

// exceptions to "a child imports its parent and never a sibling of its own",
// each with its reason.
var exceptions = map[string]string{
	"analysis/judge analysis/track":   "the judge reads a vessel's whole running state; a copy of it in words would be as long and slower",
	"analysis/judge analysis/expect":  "findings are held against the expected course",
	"alerts/room analysis/judge":      "the room runs the one step: track, judge, alarm",
	"alerts/room analysis/track":      "the same",
	"alerts/room analysis/expect":     "what is known of the strains goes through the room to the judge",
	"alerts/room ingest/logbook":      "what the logbook says now, corrections and withdrawals in",
	"ingest/store ingest/store/sql":   "embedded files",
	"alerts/ledger alerts/ledger/sql": "embedded files",
}

// io are the standard packages that nothing in analysis may import: live watch
// and replay run the very same step, so it asks no clock and touches no file.
var io = []string{"os", "net", "net/http", "database/sql", "log", "log/slog", "io/ioutil", "syscall", "os/exec"}

func TestImportsFollowTheStreet(t *testing.T) {
	for file, imports := range sources(t) {
		from := path.Dir(file)
		for _, imp := range imports {
			to, ours := strings.CutPrefix(imp, module+"/")
			if !ours {
				outside(t, file, from, imp)
				continue
			}
			if fault := inside(from, to); fault != "" && !strings.HasSuffix(file, "_test.go") {
				t.Errorf("%s imports %s: %s", file, to, fault)
			}
		}
	}
}

// inside says what is wrong with one of our packages importing another.
func inside(from, to string) string {
	a, b := top(from), top(to)
	switch {
	case exceptions[from+" "+to] != "":
		return ""
	case a == "config" && to != "ingest/unit":
		return "config is a leaf and knows ingest/unit at most"
	case a == "config":
		return ""
	case b == "config" && a != "cmd":
		return "only cmd reads config"
	case b == "config":
		return ""
	case slices.Index(street, a) > slices.Index(street, b):
		return "the street is one way: " + strings.Join(street, " -> ")
	case a == b && a != "cmd" && to != a && !strings.HasPrefix(to, from+"/") && !strings.HasPrefix(from, to+"/") && to != "ingest/unit":
		return "a child imports its parent, never its siblings"
	case from == "ingest/unit":
		return "ingest/unit imports nothing of ours"
	case strings.HasPrefix(from, "cmd/internal/") && to == "cmd/internal/daemon" && from != "cmd/internal/daemon":
		return "only commands start the daemon"
	}
	return ""
}

func outside(t *testing.T, file, from, imp string) {
	if top(from) == "analysis" && !strings.HasSuffix(file, "_test.go") && slices.Contains(io, imp) {
		t.Errorf("%s imports %s: nothing in analysis does I/O", file, imp)
	}
	if imp == "database/sql" && from != "ingest/store" && from != "alerts/ledger" && !strings.HasSuffix(file, "_test.go") {
		t.Errorf("%s imports %s: SQL has two homes, ingest/store and alerts/ledger", file, imp)
	}
}

func top(p string) string {
	first, _, _ := strings.Cut(p, "/")
	return first
}

// The top level of the repository is fixed.
func TestTopLevel(t *testing.T) {
	allowed := []string{"cmd", "ingest", "analysis", "alerts", "config", "testdata",
		"go.mod", "go.sum", "README.md", "DEVELOPERS.md", "LICENSE"}
	entries, err := os.ReadDir("..")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(allowed, e.Name()) {
			t.Errorf("%s does not belong to the top level", e.Name())
		}
	}
}

// Every package says what it is for.
func TestPackagesHaveComments(t *testing.T) {
	documented, all := map[string]bool{}, map[string]bool{}
	walk(t, func(file string) {
		if strings.HasSuffix(file, "_test.go") {
			return
		}
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", file), nil, parser.PackageClauseOnly|parser.ParseComments)
		if err != nil {
			t.Error(err)
			return
		}
		all[path.Dir(file)] = true
		if f.Doc != nil {
			documented[path.Dir(file)] = true
		}
	})
	for dir := range all {
		if !documented[dir] {
			t.Errorf("%s has no package comment", dir)
		}
	}
}

func sources(t *testing.T) map[string][]string {
	out := map[string][]string{}
	walk(t, func(file string) {
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", file), nil, parser.ImportsOnly)
		if err != nil {
			t.Error(err)
			return
		}
		out[file] = nil
		for _, i := range f.Imports {
			p, _ := strconv.Unquote(i.Path.Value)
			out[file] = append(out[file], p)
		}
	})
	if len(out) < 50 {
		t.Fatalf("only %d files found: this test looks in the wrong place", len(out))
	}
	return out
}

func walk(t *testing.T, visit func(file string)) {
	err := filepath.WalkDir("..", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && d.Name() != ".." {
			return fs.SkipDir
		}
		if strings.HasSuffix(p, ".go") {
			rel, _ := filepath.Rel("..", p)
			visit(filepath.ToSlash(rel))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
