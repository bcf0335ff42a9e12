package main

import (
	"bytes"
	"errors"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// simulated runs the command and returns its exit code and what it printed.
func simulated(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = execute(t.Context(), append([]string{"simulate"}, args...), &o, &e)
	return code, o.String(), e.String()
}

// decoded reads lines back.
func decoded(t *testing.T, lines []byte) *ingest.Batch {
	t.Helper()
	d, err := lineproto.New(lineproto.Options{})
	if err != nil {
		t.Fatal(err)
	}
	b := d.Decode(lines, time.Now(), time.Time{})
	for _, r := range b.Refused {
		t.Errorf("refused: %s: %s", r.Detail, r.Input)
	}
	return &b
}

func TestSimulateWritesARunFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	code, _, errs := simulated(t, "--vessels", "3", "--days", "2", "--seed", "5", "--start", "2026-01-05T00:00:00Z", "--zone", "Atlantic/Azores",
		"--fault", "air_off:*@+30h/2h", "--out", dir)
	if code != exitFine || !strings.Contains(errs, "100 %") {
		t.Fatalf("exit %d: %s", code, errs)
	}
	f, err := runfolder.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Vessels) != 3 || len(f.Lots) != 3 || f.Vessels[0].Zone.String() != "Atlantic/Azores" || f.Lots[2].Vessel != "V03" {
		t.Errorf("vessels %+v\nlots %+v", f.Vessels, f.Lots)
	}
	readings, off := 0, 0
	for c, err := range f.Readings() {
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range decoded(t, c.Data).Readings {
			readings++
			if after := r.At.Sub(time.Date(2026, 1, 6, 6, 0, 0, 0, time.UTC)); r.Quantity.Field() == "air_lpm" && after > time.Minute && after < 2*time.Hour && r.Value < 0.1 {
				off++
			}
		}
	}
	if readings < 3*2*720*4*9/10 || off < 150 {
		t.Errorf("%d readings, %d of them without air", readings, off)
	}
	for c, err := range f.Events() {
		if b := decoded(t, c.Data); err != nil || len(b.Entries) < 3 {
			t.Errorf("%d entries, %v", len(b.Entries), err)
		}
	}
	if code, _, errs = simulated(t, "--vessels", "1", "--out", dir); code != exitFailed || !strings.Contains(errs, "exist") {
		t.Errorf("a folder was written over: exit %d: %s", code, errs)
	}
}

// taker keeps what is published.
type taker struct {
	mochi.HookBase
	mu       sync.Mutex
	messages []packets.Packet // guarded by mu
}

func (*taker) ID() string { return "taker" }

func (*taker) Provides(b byte) bool { return b == mochi.OnPublish }

func (k *taker) OnPublish(_ *mochi.Client, p packets.Packet) (packets.Packet, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.messages = append(k.messages, p)
	return p, nil
}

func brokerWith(t *testing.T, k *taker) string {
	t.Helper()
	server := mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler)})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	err = errors.Join(server.AddHook(new(auth.AllowHook), nil), server.AddHook(k, nil), server.AddListener(listeners.NewNet("test", l)), server.Serve())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = server.Close() })
	return "tcp://" + l.Addr().String()
}

func TestSimulatePublishes(t *testing.T) {
	k := &taker{}
	code, _, errs := simulated(t, "--broker", brokerWith(t, k), "--topic", "room/a", "--vessels", "2", "--days", "1", "--seed", "3", "--speed", "0",
		"--start", "2026-01-05T00:00:00Z")
	if code != exitFine {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var want, got ingest.Batch
	room := simulate.New(simulate.Season(3, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 2, 1, 0), 3)
	for readings, entries, ok := room.Step(); ok; readings, entries, ok = room.Step() {
		want.Readings = append(want.Readings, readings...)
		want.Entries = append(want.Entries, entries...)
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, p := range k.messages {
		if p.TopicName != "room/a" || p.FixedHeader.Qos != 1 || p.FixedHeader.Retain {
			t.Fatalf("published under %q at QoS %d", p.TopicName, p.FixedHeader.Qos)
		}
		b := decoded(t, p.Payload)
		got.Readings = append(got.Readings, b.Readings...)
		got.Entries = append(got.Entries, b.Entries...)
	}
	if len(got.Readings) != len(want.Readings) || len(got.Entries) != len(want.Entries) || len(want.Entries) == 0 {
		t.Fatalf("%d readings and %d entries came, want %d and %d", len(got.Readings), len(got.Entries), len(want.Readings), len(want.Entries))
	}
	for i := range want.Readings {
		if got.Readings[i] != want.Readings[i] {
			t.Fatalf("reading %d: %+v, want %+v", i, got.Readings[i], want.Readings[i])
		}
	}
	if got.Entries[0].ID() != want.Entries[0].ID() {
		t.Errorf("entry %+v, want %+v", got.Entries[0], want.Entries[0])
	}
}

func TestSimulateStopsWhenItsTimeIsOver(t *testing.T) {
	k := &taker{}
	began := time.Now()
	code, _, errs := simulated(t, "--broker", brokerWith(t, k), "--speed", "1", "--quick", "1h", "--for", "300ms")
	if code != exitFine || time.Since(began) > 20*time.Second {
		t.Fatalf("exit %d after %v: %s", code, time.Since(began), errs)
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if n := len(k.messages); n < 50 || n > 65 {
		t.Errorf("%d messages: an hour of minutes was to come at once, and nothing more in a moment", n)
	}
}

func TestSimulatePrintsAConfiguration(t *testing.T) {
	for _, args := range [][]string{{"--zone", "Atlantic/Azores"}, {"--vessels", "12"}} {
		code, out, errs := simulated(t, append(args, "--print-config")...)
		if code != exitFine {
			t.Fatalf("exit %d: %s", code, errs)
		}
		file := filepath.Join(t.TempDir(), "room.yaml")
		if err := os.WriteFile(file, []byte("room: Demonstration\nbroker: {embedded: 127.0.0.1:1883}\n"+out), 0o600); err != nil {
			t.Fatal(err)
		}
		c, err := config.Load(file)
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		if want := map[bool]int{true: 12, false: 8}[args[0] == "--vessels"]; len(c.Vessels) != want || c.Vessels[0].VolumeL == 0 {
			t.Errorf("%d vessels, want %d", len(c.Vessels), want)
		}
	}
}

func TestSimulateSaysWhatIsWrong(t *testing.T) {
	for want, args := range map[string][]string{
		`--zone "Mars" is not in the IANA list`:               {"--zone", "Mars"},
		`--start "noon" is not a time with zone`:              {"--start", "noon"},
		`--speed -1: want 0 or more`:                          {"--speed", "-1"},
		`--speed NaN: want 0 or more`:                         {"--speed", "NaN"},
		`--vessels -1: want 0 to 10000`:                       {"--vessels", "-1"},
		`--days 0: want 1 to 3660`:                            {"--days", "0"},
		`--topic is empty`:                                    {"--topic", ""},
		`fault "ghost:C01@+1h": no kind "ghost"`:              {"--fault", "ghost:C01@+1h"},
		`no fault "air_off" of vessel "C77" can be made`:      {"--fault", "air_off:C77@+1h"},
		`unknown flag: --sped`:                                {"--sped", "1"},
		`--start 2100-01-01T00:00:00Z is yet to come`:         {"--vessels", "1", "--start", "2100-01-01T00:00:00Z"},
		`--broker is no address such as tcp://127.0.0.1:1883`: {"--broker", "tcp://%zz"},
	} {
		if code, _, errs := simulated(t, args...); code != exitWrong || !strings.Contains(errs, want) {
			t.Errorf("%v: exit %d, %s", args, code, errs)
		}
	}
}

func TestSimulateWithoutABroker(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	_ = l.Close()
	code, _, errs := simulated(t, "--broker", "tcp://me:secret@"+address)
	if code != exitFailed || !strings.Contains(errs, address) || strings.Contains(errs, "secret") {
		t.Errorf("exit %d: %s", code, errs)
	}
}

func TestLastNightIsOver(t *testing.T) {
	s := simulation{seed: 1}
	for hour, want := range map[int]string{8: "2026-01-09T09:00:00Z", 9: "2026-01-10T09:00:00Z", 23: "2026-01-10T09:00:00Z"} {
		plan := s.room(time.Date(2026, 1, 10, hour, 0, 0, 0, time.UTC), time.Time{})
		if got := plan.End.Format(time.RFC3339); got != want {
			t.Errorf("at %d:00 the night ends at %s, want %s", hour, got, want)
		}
	}
}

func TestClock(t *testing.T) {
	start := time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC)
	now := start.Add(24 * time.Hour)
	c := clock{speed: 60, quickUntil: start.Add(time.Hour)}
	for i, step := range []struct {
		room time.Duration // after start
		want time.Duration // to wait
	}{
		{59 * time.Minute, -24*time.Hour + 59*time.Minute}, // at once
		{60 * time.Minute, 0},
		{61 * time.Minute, time.Second},
		{120 * time.Minute, time.Minute},
		{25 * time.Hour, time.Hour}, // not before its time
	} {
		if got := c.due(start.Add(step.room), now).Sub(now); got != step.want {
			t.Errorf("step %d: waits %v, want %v", i, got, step.want)
		}
	}
}

func TestClockWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		c := clock{speed: 2, quickUntil: began.Add(-time.Hour)}
		ctx, cancel := contextFor(t.Context(), 40*time.Second)
		defer cancel()
		for minute := range 2 {
			if err := c.wait(ctx, began.Add(time.Duration(minute-60)*time.Minute)); err != nil {
				t.Fatal(err)
			}
		}
		if took := time.Since(began); took != 30*time.Second {
			t.Errorf("a minute of the room took %v at double speed", took)
		}
		if err := c.wait(ctx, began.Add(-58*time.Minute)); !errors.Is(err, errEnough) || time.Since(began) != 40*time.Second {
			t.Errorf("after %v: %v", time.Since(began), err)
		}
	})
}
