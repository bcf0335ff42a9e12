package storetest

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

var everything = map[string]ingest.Value{"volume_l": ingest.Num(6), "refilled": ingest.Bool(true),
	"note": ingest.Text("pale, \"thin\"\n\x00 und träge"), "zero": ingest.Num(0), "no": ingest.Bool(false), "": ingest.Text("")}

func entry(vessel string, kind ingest.Kind, happened, written time.Duration) ingest.Entry {
	return ingest.Entry{Vessel: vessel, Kind: kind, At: at(happened), Written: at(written)}
}

func sequence(t *testing.T, open Opener) {
	s := opened(t, open)
	for want := int64(1); want <= 6; want++ {
		b := batch(reading("C07", unit.OD, 1, time.Duration(want)*time.Second))
		b.Seq = 99 // not the caller's to say
		if got := keep(t, s, b).Seq; got != want {
			t.Fatalf("got number %d, want %d", got, want)
		}
		if err := s.Digested(t.Context(), want); err != nil {
			t.Fatal(err)
		}
		if n := must(s.Backlog(t.Context()))(t); n != 0 {
			t.Fatalf("%d batches wait after all were digested", n)
		}
		s = reopened(t, s, open)
	}
	same(t, "nothing to digest", keep(t, s, ingest.Batch{Arrived: at(0)}), ingest.Kept{})
	same(t, "refused only", keep(t, s, ingest.Batch{Refused: []ingest.Refused{{Reason: ingest.Unreadable}}}), ingest.Kept{Refused: 1})
	same(t, "next", keep(t, s, batch(reading("C07", unit.OD, 1, 0))).Seq, int64(7))
}

func inbox(t *testing.T, open Opener) {
	s := opened(t, open)
	e := entry("C07", ingest.Harvest, 0, time.Hour)
	e.Fields, e.Who, e.WrittenOnArrival = everything, "Ada", true
	r := reading("C07", unit.OD, 1.0/3, 0)
	batches := []ingest.Batch{batch(r, r, reading("C08", unit.PH, 8.1, -time.Hour)),
		{Arrived: at(7), Entries: []ingest.Entry{e, entry("C09", ingest.Remark, 0, 0), e}}, batch(r)}
	for i := range batches {
		batches[i].Arrived = ingest.Stamp(batches[i].Arrived)
		b := batches[i]
		b.Refused = []ingest.Refused{{Reason: ingest.BadValue}} // no part of what comes back
		batches[i].Seq = keep(t, s, b).Seq
	}
	s = reopened(t, s, open)
	read := func(after int64, limit int) []ingest.Batch {
		t.Helper()
		out := must(s.Inbox(t.Context(), after, limit))(t)
		for i := range out { // no readings may be nil or empty
			if len(out[i].Readings) == 0 {
				out[i].Readings = nil
			}
		}
		return out
	}
	same(t, "all", read(0, 0), batches)
	same(t, "some", read(1, 1), batches[1:2])
	same(t, "backlog", must(s.Backlog(t.Context()))(t), int64(3))
	if err := s.Digested(t.Context(), 2); err != nil {
		t.Fatal(err)
	}
	same(t, "rest", read(0, 10), batches[2:])
	same(t, "after the last", read(3, 10), []ingest.Batch{})
}

func entries(t *testing.T, open Opener) {
	s := opened(t, open)
	a, b := entry("C07", ingest.Harvest, 2*time.Hour, 9*time.Hour), entry("C08", ingest.Fill, 3*time.Hour, 3*time.Hour)
	c, d := entry("C07", ingest.Look, time.Hour, 10*time.Hour), entry("C07", ingest.Remark, 2*time.Hour, 2*time.Hour)
	a.Fields, a.Who = everything, "Ada"
	got := keep(t, s, ingest.Batch{Entries: []ingest.Entry{a, b, c, a, d}})
	same(t, "kept", got, ingest.Kept{Seq: 1, Entries: 4})
	same(t, "again", keep(t, s, ingest.Batch{Entries: []ingest.Entry{b}}).Entries, 0)
	fill := entry("C09", ingest.Fill, 20*time.Hour, 20*time.Hour)
	fill.WrittenOnArrival = true
	again := fill
	again.Written = at(21 * time.Hour)
	same(t, "repeated delivery", keep(t, s, ingest.Batch{Entries: []ingest.Entry{fill, again}}).Entries, 1)

	s = reopened(t, s, open)
	var none time.Time
	same(t, "as it happened", must(s.Entries(t.Context(), "", none, none))(t), []ingest.Entry{c, d, a, b, fill})
	same(t, "one vessel", must(s.Entries(t.Context(), "C07", none, none))(t), []ingest.Entry{c, d, a})
	same(t, "range", must(s.Entries(t.Context(), "", at(2*time.Hour), at(3*time.Hour)))(t), []ingest.Entry{d, a})
	same(t, "as written", must(s.EntriesWritten(t.Context(), "", none, none))(t), []ingest.Entry{d, b, a, c, fill})
	same(t, "written range", must(s.EntriesWritten(t.Context(), "C07", at(9*time.Hour), at(10*time.Hour)))(t), []ingest.Entry{a})
	same(t, "total", must(s.Totals(t.Context()))(t).Entries, int64(5))
}

func refused(t *testing.T, open Opener) {
	s := opened(t, open)
	long := bytes.Repeat([]byte{0xff, 0}, ingest.MaxRefusedInput)
	first := ingest.Refused{Reason: ingest.NotUTF8, Detail: "line 3: no text", Line: 3, Column: 7, Topic: "room/\xff\x00",
		Input: long, Size: 2 * len(long), Arrived: at(0)}
	keep(t, s, ingest.Batch{Refused: []ingest.Refused{first, {Reason: ingest.BadTime, Input: []byte("x")}}})
	s = reopened(t, s, open)
	got := must(s.Refused(t.Context(), 0))(t)
	if len(got) != 2 || got[0].Reason != ingest.BadTime || got[0].Size != 1 {
		t.Fatalf("got %s, want the newest first", shown(got))
	}
	first.Input = long[:ingest.MaxRefusedInput]
	same(t, "as it was", got[1], first)

	var many []ingest.Refused
	for i := range store.MaxRefused {
		many = append(many, ingest.Refused{Reason: ingest.BadTime, Line: i})
	}
	keep(t, s, ingest.Batch{Refused: many})
	same(t, "kept", len(must(s.Refused(t.Context(), 0))(t)), store.MaxRefused)
	same(t, "limit", must(s.Refused(t.Context(), 1))(t)[0].Line, store.MaxRefused-1)
	same(t, "counted for ever", must(s.Totals(t.Context()))(t).Refused,
		map[ingest.Reason]int64{ingest.NotUTF8: 1, ingest.BadTime: store.MaxRefused + 1})
}

func unusable(t *testing.T, open Opener) {
	s := opened(t, open)
	good := reading("C07", unit.OD, 1, 0)
	early := reading("C07", unit.OD, 1, 0)
	early.At = time.Date(1969, 12, 31, 23, 59, 59, 0, time.UTC)
	nan := entry("C07", ingest.Count, 0, 0)
	nan.Fields = map[string]ingest.Value{"cells": ingest.Num(math.Inf(1))}
	formless := entry("C07", ingest.Count, 0, 0)
	formless.Fields = map[string]ingest.Value{"cells": {}}
	b := batch(reading("", unit.OD, 1, 0), reading("a\x00b", unit.OD, 1, 0), reading(strings.Repeat("x", 65), unit.OD, 1, 0),
		reading("C07", 0, 1, 0), reading("C07", 99, 1, 0), reading("C07", unit.OD, math.NaN(), 1), reading("C07", unit.OD, math.Inf(-1), 1), early, good)
	b.Entries = []ingest.Entry{entry("C07", "dance", 0, 0), entry("", ingest.Fill, 0, 0), nan, formless, {Vessel: "C07", Kind: ingest.Fill}}
	same(t, "kept", keep(t, s, b), ingest.Kept{Seq: 1, Stored: 1, Refused: 13})
	same(t, "counted", must(s.Totals(t.Context()))(t).Refused, map[ingest.Reason]int64{ingest.BadVessel: 4, ingest.UnknownField: 2,
		ingest.BadValue: 2, ingest.BadTime: 2, ingest.BadEntry: 3})
	same(t, "inbox", must(s.Inbox(t.Context(), 0, 0))(t)[0].Readings, []ingest.Reading{good})
	for _, r := range must(s.Refused(t.Context(), 0))(t) {
		if r.Detail == "" || !strings.Contains(r.Detail, "vessel") {
			t.Errorf("detail %q does not say what is wrong", r.Detail)
		}
	}
	if len(b.Refused) != 0 {
		t.Error("the batch given was changed")
	}
	bad := ingest.Batch{Refused: []ingest.Refused{{Reason: ingest.BadValue, Detail: fmt.Sprintf("%0999d", 0)}}}
	keep(t, s, bad)
	if n := len(must(s.Refused(t.Context(), 1))(t)[0].Detail); n > 500 {
		t.Errorf("a detail of %d bytes was kept", n)
	}
}
