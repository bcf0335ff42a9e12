package daemon

import (
	"fmt"
	"log/slog"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/alerts/ledger"
	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// bench is a watch by the wall clock, without anything around it.
type watchBench struct {
	t     *testing.T
	path  string
	db    *store.Store
	watch *watch
	now   time.Time
}

func newWatchBench(t *testing.T) *watchBench {
	b := &watchBench{t: t, path: filepath.Join(t.TempDir(), "night.db"), now: time.Date(2026, 2, 3, 20, 0, 0, 0, time.UTC)}
	b.open()
	t.Cleanup(func() { _ = b.db.Close() })
	return b
}

// open starts the watch on the database, as after a crash.
func (b *watchBench) open() {
	b.t.Helper()
	if b.db != nil {
		_ = b.db.Close()
	}
	var err error
	if b.db, err = store.Open(b.t.Context(), b.path); err != nil {
		b.t.Fatal(err)
	}
	book, err := ledger.Open(b.t.Context(), b.db)
	if err != nil {
		b.t.Fatal(err)
	}
	vessel := ingest.Vessel{Name: "C01", LightsOn: -1, TempC: 20, TempBand: 3, AirLpm: 4, Interval: 2 * time.Minute,
		Expects: []ingest.Quantity{ingest.OD, ingest.Temperature, ingest.Airflow}}
	fresh := func() *room.Room { return room.New(room.Options{Name: "R", Vessels: []ingest.Vessel{vessel}}) }
	b.watch = &watch{store: b.db, ledger: book, log: slog.New(slog.DiscardHandler), now: func() time.Time { return b.now }, wake: func() {},
		fresh: fresh, room: fresh(), news: make(chan struct{}, 1), acks: make(chan acknowledgement)}
	if err := b.watch.resume(b.t.Context()); err != nil {
		b.t.Fatal(err)
	}
}

// keep puts readings of a stretch of time into the store, as they come now.
func (b *watchBench) keep(from, to time.Time, air float64) {
	b.t.Helper()
	batch := ingest.Batch{Arrived: b.now}
	for at := from; at.Before(to); at = at.Add(2 * time.Minute) {
		od := 0.1 * math.Exp(at.Sub(from).Hours()/100)
		batch.Readings = append(batch.Readings,
			ingest.Reading{Vessel: "C01", Quantity: ingest.OD, Value: od + 0.0001*float64(at.Unix()/120%7), At: at},
			ingest.Reading{Vessel: "C01", Quantity: ingest.Temperature, Value: 20, At: at},
			ingest.Reading{Vessel: "C01", Quantity: ingest.Airflow, Value: air, At: at})
	}
	if _, err := b.db.Append(b.t.Context(), batch); err != nil {
		b.t.Fatal(err)
	}
}

func (b *watchBench) inoculate() {
	b.t.Helper()
	e := ingest.Entry{Vessel: "C01", Kind: ingest.Inoculate, At: b.now, Written: b.now, Fields: map[string]ingest.Value{"lot": ingest.Text("A1")}}
	if _, err := b.db.Append(b.t.Context(), ingest.Batch{Arrived: b.now, Entries: []ingest.Entry{e}}); err != nil {
		b.t.Fatal(err)
	}
}

// live lets time pass with readings coming as they are taken.
func (b *watchBench) live(d time.Duration, air float64) {
	for end := b.now.Add(d); b.now.Before(end); {
		b.keep(b.now, b.now.Add(time.Minute), air)
		b.now = b.now.Add(2 * time.Minute)
		b.watch.round(b.t.Context())
	}
}

func (b *watchBench) alarms() []string {
	b.t.Helper()
	all, err := b.watch.ledger.Alarms(b.t.Context(), ledger.Filter{})
	if err != nil {
		b.t.Fatal(err)
	}
	var out []string
	for _, a := range all {
		out = append(out, fmt.Sprintf("%s %s", a.Class, a.State))
		b.t.Logf("%s %s raised %s since %s", a.Class, a.Finding.What, a.Raised, a.Finding.Since)
	}
	return out
}

// The daemon was off for the night; the broker kept what came. What was not
// heard in time was not silence.
func TestBacklogAfterDowntimeIsNoSilence(t *testing.T) {
	b := newWatchBench(t)
	b.inoculate()
	b.live(time.Hour, 4)
	off := b.now
	b.now = off.Add(8 * time.Hour)
	b.open()
	for range 20 { // the broker is slow to bring it
		b.now = b.now.Add(time.Second)
		b.watch.round(t.Context())
	}
	b.keep(off, b.now, 4)
	b.now = b.now.Add(time.Second)
	b.watch.round(t.Context())
	b.live(30*time.Minute, 4)
	if got := b.alarms(); len(got) != 0 {
		t.Errorf("a night of backlog came to %v", got)
	}
}

// Nothing came at all while it was off, and nothing comes now: that is silence.
func TestSilenceAfterDowntimeIsFound(t *testing.T) {
	b := newWatchBench(t)
	b.inoculate()
	b.live(time.Hour, 4)
	b.now = b.now.Add(8 * time.Hour)
	b.open()
	for range 15 * 60 {
		b.now = b.now.Add(time.Second)
		b.watch.round(t.Context())
	}
	if got := b.alarms(); len(got) != 1 || got[0] != "sensor unacknowledged" {
		t.Errorf("eight hours of nothing came to %v, want one sensor alarm", got)
	}
}

// seconds lets the clock tick with nothing coming.
func (b *watchBench) seconds(n int) {
	for range n {
		b.now = b.now.Add(time.Second)
		b.watch.round(b.t.Context())
	}
}

// A clock that is wrong for a moment is not followed, nor through a restart.
func TestClockAheadForAMoment(t *testing.T) {
	for _, leap := range []time.Duration{26 * time.Hour, 365 * 24 * time.Hour, -26 * time.Hour} {
		b := newWatchBench(t)
		b.inoculate()
		b.live(time.Hour, 4)
		right := b.now
		b.now = right.Add(leap)
		b.watch.round(t.Context())
		b.now = right
		b.seconds(5)
		if err := b.watch.save(t.Context(), true); err != nil {
			t.Fatal(err)
		}
		b.open()
		b.live(30*time.Minute, 4)
		b.live(30*time.Minute, 0)
		if got := b.alarms(); len(got) != 1 || got[0] != "airflow unacknowledged" {
			t.Errorf("after a leap of %v: %v, want the air alone", leap, got)
		}
	}
}

// A clock that was ahead for long and is set right takes the room with it;
// what stood goes on to stand, and what comes is found.
func TestClockSetBack(t *testing.T) {
	b := newWatchBench(t)
	b.inoculate()
	b.live(2*time.Hour, 4)
	right := b.now
	b.now = right.Add(26 * time.Hour)
	b.seconds(300) // believed by now
	if d := b.watch.room.Now().Sub(right); d < 25*time.Hour {
		t.Fatalf("a clock that stood for five minutes is not followed: the room is %v ahead", d)
	}
	b.now = right.Add(5 * time.Minute)
	b.seconds(90)
	if d := b.watch.room.Now().Sub(b.now); d > time.Minute || d < -time.Minute {
		t.Fatalf("the room is %v apart from a clock that was set right", d)
	}
	b.live(time.Hour, 0)
	found := false
	for _, a := range b.alarms() {
		found = found || a == "airflow unacknowledged"
	}
	if !found {
		t.Errorf("an hour without air after the clock was set right: %v", b.alarms())
	}
}

// A snapshot of another version is passed over: the room is built again from
// the readings, and an alarm that stands is neither raised nor called again.
func TestRebuildRaisesNothingTwice(t *testing.T) {
	b := newWatchBench(t)
	b.inoculate()
	b.live(time.Hour, 4)
	b.live(30*time.Minute, 0)
	if got := b.alarms(); len(got) != 1 || got[0] != "airflow unacknowledged" {
		t.Fatalf("half an hour without air came to %v", got)
	}
	before := b.watch.room.Views()[0].Estimate
	err := b.watch.ledger.Commit(t.Context(), ledger.Decision{Cursor: b.watch.cursor, RoomTime: b.watch.room.Now(), Version: 999, Snapshot: []byte("of the future")})
	if err != nil {
		t.Fatal(err)
	}
	b.open()
	b.live(30*time.Minute, 0)
	if got := b.alarms(); len(got) != 1 || got[0] != "airflow unacknowledged" {
		t.Errorf("after building the room again: %v", got)
	}
	if after := b.watch.room.Views()[0].Estimate; after.Lot != before.Lot || after.Since != before.Since {
		t.Errorf("lot %q since %v, want %q since %v", after.Lot, after.Since, before.Lot, before.Since)
	}
	calls, err := b.watch.ledger.Calls(t.Context(), 0)
	if err != nil || len(calls) != 1 || calls[0].State != alerts.Queued {
		t.Errorf("calls %+v, %v: want the one", calls, err)
	}
}

// What is decided and cannot be written down is not lost: it is written when
// the disk is back.
func TestDecisionWaitsForTheDisk(t *testing.T) {
	b := newWatchBench(t)
	b.inoculate()
	b.live(time.Hour, 4)
	whole := b.watch.ledger
	b.watch.ledger = brokenLedger(t)
	b.live(30*time.Minute, 0)
	if v := b.watch.view.Load(); v == nil || v.stuck == "" {
		t.Error("nobody is told that decisions cannot be written down")
	}
	b.watch.ledger = whole
	b.watch.round(t.Context())
	if got := b.alarms(); len(got) != 1 {
		t.Errorf("after the disk was back: %v", got)
	}
	if v := b.watch.view.Load(); v.stuck != "" {
		t.Errorf("still said to be stuck: %s", v.stuck)
	}
}

// brokenLedger is one whose database is closed.
func brokenLedger(t *testing.T) *ledger.Ledger {
	db, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "gone.db"))
	if err != nil {
		t.Fatal(err)
	}
	l, err := ledger.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	_ = db.Close()
	return l
}
