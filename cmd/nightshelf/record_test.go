package main

import (
	"context"
	"encoding/json"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// record is a command of the scripts: record DATABASE FILE keeps the line
// protocol in FILE, as a daemon would have.
func record(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: record DATABASE FILE")
	}
	d, err := lineproto.New(lineproto.Options{})
	ts.Check(err)
	b := d.Decode([]byte(ts.ReadFile(args[1])), time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC), time.Time{})
	if len(b.Refused) > 0 {
		ts.Fatalf("%s: %s", args[1], b.Refused[0].Detail)
	}
	s, err := store.Open(context.Background(), ts.MkAbs(args[0]))
	ts.Check(err)
	_, err = s.Append(context.Background(), b)
	ts.Check(err)
	ts.Check(s.Close())
}

// lastID is a command of the scripts: lastid FILE KIND sets ID to the id of
// the newest entry of that kind in what log --json wrote.
func lastID(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: lastid FILE KIND")
	}
	var list []page.APIEntry
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &list))
	for _, e := range list {
		if e.Kind == args[1] {
			ts.Setenv("ID", e.ID[:8])
		}
	}
}
