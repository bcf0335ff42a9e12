package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/alerts/ledger"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

const plainRoom = `room: Test room
listen: 127.0.0.1:0
broker: {embedded: "127.0.0.1:0", topics: ["shelf/#", "bench/#"], max_payload: 1MiB}
devices:
  - {topic: "bench/{vessel}/temp", format: number, field: temp_f}
  - {topic: "bench/env", format: json, vessel_field: where, fields: {t: temp_c, lamp: lux}, time: ts}
vessels:
  - {name: C01, interval: 2m}
  - {name: C02, interval: 2m}
`

// load writes a configuration into a folder of its own and reads it.
func load(t *testing.T, text string) *config.Config {
	t.Helper()
	file := filepath.Join(t.TempDir(), "room.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// start runs a daemon until the test ends.
func start(t *testing.T, c *config.Config) *Daemon {
	t.Helper()
	d, err := New(t.Context(), Options{Config: c})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), stopWithin)
		defer cancel()
		if err := d.Stop(ctx); err != nil {
			t.Error(err)
		}
	})
	return d
}

func get(t *testing.T, url string) (int, string) {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(body)
}

func sensor(t *testing.T, d *Daemon, id string) paho.Client {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + d.BrokerAddress()).SetClientID(id).SetAutoReconnect(false))
	if tok := c.Connect(); !tok.WaitTimeout(10*time.Second) || tok.Error() != nil {
		t.Fatalf("connect: %v", tok.Error())
	}
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

// Every kind of bad input among good: each is set aside with its reason, and
// nothing else is lost.
func TestBadInputLosesNothingElse(t *testing.T) {
	d := start(t, load(t, plainRoom))
	now := time.Now().UnixNano()
	ms := time.Now().UnixMilli()
	year := now + int64(370*24*time.Hour)
	messages := []struct {
		topic, payload string
		refused        ingest.Reason // empty: nothing is
		kept           int           // readings
	}{
		{"shelf/a", fmt.Sprintf("reading,vessel=C01 od=0.41,temp_c=21.3 %d", now), "", 2},
		{"shelf/a", fmt.Sprintf("reading,vessel=C01 od=0.42 %d\nreading,vessel= od=1\nreading,vessel=C02 od=0.1 %d", now+1e9, now), ingest.Unreadable, 2},
		{"shelf/a", fmt.Sprintf("reading,vessel=C99 od=0.33 %d", now), "", 1}, // a forgotten line of the configuration
		{"shelf/a", fmt.Sprintf("reading,vessel=C01 temp_r=500,par_umol=80 %d", now+2e9), ingest.UnknownField, 1},
		{"shelf/a", fmt.Sprintf("reading,vessel=C01 od=0.1 %d", year), ingest.BadTime, 0},
		{"shelf/a", fmt.Sprintf("reading,vessel=C01 od=0.1 %d", ms), ingest.BadTime, 0},
		{"shelf/a", fmt.Sprintf("reading,vessel=C01 od=NaN,air_lpm=2.5 %d", now+3e9), ingest.BadValue, 1},
		{"shelf/a", fmt.Sprintf("reading,vessel=C\xff1 od=0.1 %d\nreading,vessel=C02 od=0.2 %d", now, now+4e9), ingest.NotUTF8, 1},
		{"shelf/a", fmt.Sprintf("event,vessel=C01,kind=dance volume_l=6 %d", now), ingest.BadEntry, 0},
		{"shelf/a", fmt.Sprintf("event,vessel=C01,kind=harvest volume_l=6,refilled=true %d", now), "", 0},
		{"shelf/a", "", "", 0},
		{"shelf/a", fmt.Sprintf("reading,vessel=C01 od=1.7e308,temp_c=20 %d", now+5e9), ingest.BadValue, 1}, // a device's word for "no value"
		{"bench/C02/temp", "68.0", "", 1},
		{"bench/C02/temp", "68,5", ingest.Unreadable, 0},
		{"bench/env", fmt.Sprintf(`{"where":"C02","t":19.5,"lamp":7400,"ts":%d}`, now/1e9), "", 2},
		{"bench/env", `{"where":"C02","t":`, ingest.Unreadable, 0},
		{"shelf/a", strings.Repeat("x", 10<<20), ingest.TooLarge, 0}, // 10 MB
	}
	c := sensor(t, d, "a")
	want, reasons := 0, map[ingest.Reason]int{}
	for _, m := range messages {
		want += m.kept
		if m.refused != "" {
			reasons[m.refused]++
		}
		tok := c.Publish(m.topic, 1, false, m.payload)
		if !tok.WaitTimeout(20*time.Second) || tok.Error() != nil {
			t.Fatalf("%.60q was not acknowledged: %v", m.payload, tok.Error())
		}
	}
	totals, err := d.store.Totals(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if totals.Readings != int64(want) || totals.Entries != 1 {
		t.Errorf("%d readings and %d entries kept, want %d and 1", totals.Readings, totals.Entries, want)
	}
	for _, reason := range ingest.Reasons {
		if got := totals.Refused[reason]; got != int64(reasons[reason]) {
			t.Errorf("set aside as %s: %d, want %d", reason, got, reasons[reason])
		}
	}
	if _, page := get(t, d.PageURL()+"/set-aside"); !strings.Contains(page, "C99") || !strings.Contains(page, "temp_r") {
		t.Error("the page does not show the unknown vessel or the unknown field")
	}
}

func TestMetricsAreCleanAndBounded(t *testing.T) {
	d := start(t, load(t, plainRoom))
	c := sensor(t, d, "a")
	for i := range 50 { // unknown vessels must not become labels
		c.Publish("shelf/a", 1, false, fmt.Sprintf("reading,vessel=U%d od=0.1", i)).Wait()
	}
	c.Publish("shelf/a", 1, false, "reading,vessel=C01 od=0.1,temp_c=20").Wait()
	_, body := get(t, d.PageURL()+"/metrics")
	problems, err := promlint.New(strings.NewReader(body)).Lint()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
	parser := expfmt.NewTextParser(model.UTF8Validation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if f := families["nightshelf_readings_total"]; f == nil || f.Metric[1].GetCounter().GetValue() != 52 {
		t.Errorf("nightshelf_readings_total: %v, want 52 stored", f)
	}
	for name, f := range families {
		if !strings.HasPrefix(name, "nightshelf_") && !strings.HasPrefix(name, "go_") && !strings.HasPrefix(name, "process_") {
			t.Errorf("metric %s has no prefix of ours", name)
		}
		if len(f.Metric) > 30 {
			t.Errorf("%s has %d series: its labels are not bounded", name, len(f.Metric))
		}
	}
}

func TestReadiness(t *testing.T) {
	d := start(t, load(t, plainRoom))
	if code, body := get(t, d.PageURL()+"/healthz"); code != http.StatusOK {
		t.Errorf("/healthz: %d %s", code, body)
	}
	for _, part := range []string{"broker", "store", "backlog", "calls"} {
		if _, body := get(t, d.PageURL()+"/readyz"); !strings.Contains(body, part) {
			t.Errorf("/readyz does not speak of the %s: %s", part, body)
		}
	}
}

// A call that nobody took is no readiness: the next would not arrive either.
func TestNotReadyAfterALostCall(t *testing.T) {
	room := strings.Replace(plainRoom, "devices:", "phones:\n  - {name: duty, url: \"http://127.0.0.1:1/\", secret_file: secret, allow_private: true}\ndevices:", 1)
	file := filepath.Join(t.TempDir(), "room.yaml")
	for name, text := range map[string]string{file: room, filepath.Join(filepath.Dir(file), "secret"): "whsec_bmlnaHRzaGVsZiByZWNvcmRlZCBydW4gc2VjcmV0"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	c, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	d := start(t, c)
	if p := d.callsPart(); !p.OK {
		t.Fatalf("before any call: %+v", p)
	}
	lost := alerts.Call{ID: "call_1", State: alerts.Failed, Done: time.Now(), Queued: time.Now()}
	if err := d.ledger.Commit(t.Context(), ledger.Decision{Cursor: 0, Calls: []alerts.Call{lost}}); err != nil {
		t.Fatal(err)
	}
	if p := d.callsPart(); p.OK || !strings.Contains(p.Detail, "1 never arrived") {
		t.Errorf("after a lost call: %+v", p)
	}
}

func TestNotReadyWithoutBroker(t *testing.T) {
	gone, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := gone.Addr().String()
	_ = gone.Close()
	d := start(t, load(t, strings.Replace(plainRoom, `embedded: "127.0.0.1:0"`, `url: "tcp://`+address+`"`, 1)))
	if code, body := get(t, d.PageURL()+"/readyz"); code != http.StatusServiceUnavailable || !strings.Contains(body, "broker: not ok") {
		t.Errorf("/readyz without a broker: %d %s", code, body)
	}
}

// What New cannot work with is a sentence that names the place, and leaves
// nothing open behind it.
func TestWhatCannotBeOpened(t *testing.T) {
	for _, c := range []struct {
		name    string
		spoil   func(t *testing.T, c *config.Config)
		want    error
		mention string
	}{
		{"not a database", func(t *testing.T, c *config.Config) {
			if err := os.WriteFile(c.Data, bytes.Repeat([]byte("diary "), 1000), 0o600); err != nil {
				t.Fatal(err)
			}
		}, ingest.ErrNotOurs, "nightshelf.db"},
		{"open in another daemon", func(t *testing.T, c *config.Config) {
			s, err := store.Open(t.Context(), c.Data)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = s.Close() })
		}, ingest.ErrLocked, "nightshelf.db"},
		{"port of the page in use", func(t *testing.T, c *config.Config) {
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = l.Close() })
			c.Listen = l.Addr().String()
		}, nil, "address already in use"},
	} {
		t.Run(c.name, func(t *testing.T) {
			room := load(t, plainRoom)
			c.spoil(t, room)
			_, err := New(t.Context(), Options{Config: room})
			if err == nil || c.want != nil && !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.mention) {
				t.Fatalf("error %v, want one of %v that mentions %q", err, c.want, c.mention)
			}
		})
	}
}

func TestPortOfTheBrokerInUse(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	c := load(t, plainRoom)
	c.Broker.Embedded = l.Addr().String()
	d, err := New(t.Context(), Options{Config: c})
	if err != nil {
		t.Fatal(err)
	}
	err = d.Run(t.Context())
	if err == nil || !strings.Contains(err.Error(), l.Addr().String()) {
		t.Errorf("error %v, want one that names %s", err, l.Addr())
	}
	// All was undone: the database can be opened again.
	s, err := store.Open(t.Context(), c.Data)
	if err != nil {
		t.Fatal(err)
	}
	_ = s.Close()
}

func TestAcknowledgeUnknownAlarm(t *testing.T) {
	d := start(t, load(t, plainRoom))
	req, _ := http.NewRequestWithContext(t.Context(), http.MethodPost, d.PageURL()+"/alarms/nothing/acknowledge", nil)
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if r.StatusCode != http.StatusNotFound {
		t.Errorf("status %d, want 404", r.StatusCode)
	}
}

// An alarm of a vessel that left the configuration ends, and does not stand on
// the page for ever.
func TestAlarmOfAForgottenVesselEnds(t *testing.T) {
	c := load(t, plainRoom)
	db, err := store.Open(t.Context(), c.Data)
	if err != nil {
		t.Fatal(err)
	}
	book, err := ledger.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	gone := alerts.Alarm{ID: "a1", State: alerts.Unacknowledged, Raised: time.Now().Add(-time.Hour)}
	gone.Vessel = "C77"
	if err := book.Commit(t.Context(), ledger.Decision{RoomTime: time.Now(), Alarms: []alerts.Alarm{gone}}); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	d := start(t, c)
	if open, err := d.ledger.Alarms(t.Context(), ledger.Filter{OpenOnly: true}); err != nil || len(open) != 0 {
		t.Errorf("open alarms %+v, %v: want none", open, err)
	}
}
