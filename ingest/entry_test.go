package ingest

import (
	"maps"
	"math"
	"strings"
	"testing"
	"time"
)

func harvest() Entry {
	return Entry{
		Vessel: "C07", Kind: Harvest,
		At: Stamp(noon), Written: Stamp(noon.Add(10 * time.Minute)), Who: "night hand",
		Fields: map[string]Value{"volume_l": Num(6), "refilled": Bool(true), "remark": Text("dark")},
	}
}

// The identity is written to disk: if this fails, entries of older files no
// longer know their repeated deliveries. The value was computed apart, with
// the SHA-256 of the Python library over the same bytes.
func TestEntryIDIsStable(t *testing.T) {
	const want = "9066884a1c74c53b52769a78381f56fb"
	for range 20 { // the order of a map must not show
		if got := harvest().ID(); got != want {
			t.Fatalf("identity of the same entry is %s, want %s", got, want)
		}
	}
}

func TestEntryIDDiffersByEveryField(t *testing.T) {
	changes := map[string]func(*Entry){
		"unchanged":   func(*Entry) {},
		"vessel":      func(e *Entry) { e.Vessel = "C08" },
		"kind":        func(e *Entry) { e.Kind = TopUp },
		"at":          func(e *Entry) { e.At = e.At.Add(time.Millisecond) },
		"written":     func(e *Entry) { e.Written = e.Written.Add(time.Millisecond) },
		"who":         func(e *Entry) { e.Who = "" },
		"on arrival":  func(e *Entry) { e.WrittenOnArrival = true },
		"number":      func(e *Entry) { e.Fields["volume_l"] = Num(6.5) },
		"zero":        func(e *Entry) { e.Fields["volume_l"] = Num(0) },
		"minus zero":  func(e *Entry) { e.Fields["volume_l"] = Num(math.Copysign(0, -1)) },
		"no":          func(e *Entry) { e.Fields["refilled"] = Bool(false) },
		"text":        func(e *Entry) { e.Fields["remark"] = Text("darker") },
		"form":        func(e *Entry) { e.Fields["volume_l"] = Text("6") },
		"name":        func(e *Entry) { delete(e.Fields, "volume_l"); e.Fields["volume_ml"] = Num(6) },
		"one less":    func(e *Entry) { delete(e.Fields, "remark") },
		"one more":    func(e *Entry) { e.Fields["lot"] = Text("") },
		"none":        func(e *Entry) { e.Fields = nil },
		"shifted end": func(e *Entry) { e.Vessel, e.Kind = "C07h", "arvest" },
	}
	seen := map[string]string{}
	for name, change := range changes {
		e := harvest()
		change(&e)
		id := e.ID()
		if len(id) != 32 || strings.Trim(id, "0123456789abcdef") != "" {
			t.Errorf("%s: identity %q is not 32 hexadecimal digits", name, id)
		}
		if other, ok := seen[id]; ok {
			t.Errorf("%s and %s have one identity", name, other)
		}
		seen[id] = name
	}
}

func TestEntryIDWithoutWritten(t *testing.T) {
	first, again := harvest(), harvest()
	first.WrittenOnArrival, again.WrittenOnArrival = true, true
	again.Written = again.Written.Add(time.Hour)
	again.Fields = maps.Clone(again.Fields)
	if first.ID() != again.ID() {
		t.Error("an entry delivered twice has two identities, though it never said when it was written")
	}
}

func TestEntryFields(t *testing.T) {
	e := harvest()
	if v, ok := e.Float("volume_l"); v != 6 || !ok {
		t.Errorf("volume_l is %v, %t", v, ok)
	}
	if v, ok := e.Float("remark"); v != 0 || ok {
		t.Errorf("a text passes as the number %v", v)
	}
	if e.Str("remark") != "dark" || e.Str("volume_l") != "" || !e.Flag("refilled") || e.Flag("remark") {
		t.Errorf("fields read wrongly: %v", e.Fields)
	}
	for v, want := range map[Value]string{Num(0.25): "0.25", Text("a b"): "a b", Bool(true): "true"} {
		if v.String() != want {
			t.Errorf("value shows as %q, want %q", v, want)
		}
	}
}

func TestKinds(t *testing.T) {
	for _, k := range Kinds {
		if !k.Valid() {
			t.Errorf("kind %q is not valid", k)
		}
	}
	for _, k := range []Kind{"", "harvest ", "Harvest", "reading"} {
		if k.Valid() {
			t.Errorf("kind %q is valid", k)
		}
	}
}

func TestValidVesselName(t *testing.T) {
	tests := map[string]bool{
		"C07": true, "carboy 7": true, "Säule 3": true, "a,b=c": true, `a\b`: true, "7": true,
		strings.Repeat("x", MaxVesselName):         true,
		strings.Repeat("x", MaxVesselName+1):       false,
		strings.Repeat("ä", MaxVesselName/2):       true,
		strings.Repeat("ä", MaxVesselName/2) + "x": false,
		"": false, "a\nb": false, "a\x00": false, "\x7f": false, "\u0085": false,
		"a\xffb": false, "a\xc3": false, "\ufffd": false, `C07\`: false,
	}
	for name, want := range tests {
		if got := ValidVesselName(name); got != want {
			t.Errorf("ValidVesselName(%q) = %t, want %t", name, got, want)
		}
	}
}

func TestStamp(t *testing.T) {
	east := time.FixedZone("", 3600)
	at := time.Date(2025, time.November, 25, 13, 0, 0, 1_999_999, east)
	got := Stamp(at)
	if want := noon.Add(time.Millisecond); got != want {
		t.Errorf("Stamp(%v) = %v, want %v", at, got, want)
	}
	if !Stamp(time.Time{}).IsZero() {
		t.Error("no time became a time")
	}
}
