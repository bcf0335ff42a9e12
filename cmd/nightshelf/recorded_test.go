package main_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"text/tabwriter"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/alerts/ledger"
	"github.com/nightshelf/nightshelf/alerts/webhook"
	"github.com/nightshelf/nightshelf/cmd/internal/backtest"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// The whole road with nothing in place of anything: a recorded run through a
// real mosquitto into the built program, which is killed with SIGKILL at
// random instants and started again, with calls going to a plain HTTP
// receiver. Nothing may be lost, nothing counted twice, and the alarms must be
// those of a run that nobody disturbed.
//
// By itself it plays the short run of testdata and kills five times.
// NIGHTSHELF_RECORDED names another run folder, NIGHTSHELF_KILLS another
// number of kills, NIGHTSHELF_SEED other instants.
func TestRecordedRunThroughMosquitto(t *testing.T) {
	mosquitto := program(t, "mosquitto")
	folder, err := runfolder.Open(recordedFolder())
	if err != nil {
		t.Fatal(err)
	}
	kills, seed := number("NIGHTSHELF_KILLS", 5), number("NIGHTSHELF_SEED", 1)
	messages, sent := record(t, folder)
	s := newScene(t, folder, mosquitto)
	s.startDaemon()
	s.play(messages, kills, rand.New(rand.NewPCG(uint64(seed), 7)))
	s.settle(sent)
	s.stopDaemon()
	s.check(sent, kills)
}

func recordedFolder() string {
	if dir := os.Getenv("NIGHTSHELF_RECORDED"); dir != "" {
		return dir
	}
	return filepath.Join("..", "..", "testdata", "runs", "short")
}

func number(name string, otherwise int) int {
	if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
		return n
	}
	return otherwise
}

// program finds a real program; without it the test is skipped, or fails where
// nothing may be missing.
func program(t *testing.T, name string) string {
	for _, p := range []string{name, "/usr/sbin/" + name} {
		if found, err := exec.LookPath(p); err == nil {
			return found
		}
	}
	if os.Getenv("NIGHTSHELF_REQUIRE_ALL") == "1" {
		t.Fatalf("%s is missing, and nothing may be", name)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

// tally counts what the record holds.
type tally struct {
	lines, readings, entries, refused int
	unique                            map[string]bool // readings by vessel, quantity and time
	staffed                           func(time.Time) bool
}

// linesAMessage is how many lines travel together: one round of a small shelf.
const linesAMessage = 12

// record makes the messages of a run: its readings in order of arrival, each
// entry where the readings have come to when it was written, and a little
// rubbish in between.
func record(t *testing.T, f *runfolder.Folder) ([][]byte, *tally) {
	d, err := lineproto.New(lineproto.Options{})
	if err != nil {
		t.Fatal(err)
	}
	count := &tally{unique: map[string]bool{}, staffed: func(at time.Time) bool {
		m := at.Hour()*60 + at.Minute()
		return m >= 8*60 && m < 17*60+30
	}}
	var entries []ingest.Entry
	for chunk, err := range f.Events() {
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range d.Decode(chunk.Data, time.Time{}, time.Time{}).Entries {
			if e.WrittenOnArrival {
				e.Written, e.WrittenOnArrival = e.At, false
			}
			entries = append(entries, e)
		}
	}
	var messages [][]byte
	var now []byte
	var clock time.Time
	flush := func() {
		if len(now) > 0 {
			messages = append(messages, now)
			now = nil
		}
	}
	for chunk, err := range f.Readings() {
		if err != nil {
			t.Fatal(err)
		}
		for line := range bytes.Lines(chunk.Data) {
			b := d.Decode(line, time.Time{}, time.Time{})
			if len(b.Readings) == 0 {
				continue
			}
			if at := b.Readings[0].At; at.After(clock) {
				clock = at
			}
			for len(entries) > 0 && !entries[0].Written.After(clock) {
				flush()
				e, err := lineproto.AppendEntry(nil, entries[0])
				if err != nil {
					t.Fatal(err)
				}
				messages = append(messages, e)
				entries = entries[1:] // those written after the last reading are not played
				count.entries++
			}
			now = append(now, line...)
			count.lines++
			for _, r := range b.Readings {
				count.readings++
				count.unique[fmt.Sprint(r.Vessel, r.Quantity, r.At.UnixMilli())] = true
			}
			if count.lines%linesAMessage == 0 {
				flush()
			}
			if count.lines%5000 == 1 { // rubbish among the good
				now = append(now, "reading,vessel=C01 od=NaN 1\n"...)
				count.refused++
			}
		}
	}
	flush()
	return messages, count
}

// scene is a broker, a daemon and a phone.
type scene struct {
	t          *testing.T
	folder     *runfolder.Folder
	dir        string
	binary     string
	broker     string // its address
	daemon     *exec.Cmd
	log        *os.File
	starts     int
	phone      *httptest.Server
	mu         sync.Mutex     // guards what the phone has heard
	heard      map[string]int // by id
	texts      map[string]string
	badlySaid  []string
	publishing time.Duration
}

const phoneSecret = "whsec_bmlnaHRzaGVsZiByZWNvcmRlZCBydW4gc2VjcmV0" // made for this test

func newScene(t *testing.T, f *runfolder.Folder, mosquitto string) *scene {
	s := &scene{t: t, folder: f, dir: t.TempDir(), heard: map[string]int{}, texts: map[string]string{}}
	s.binary = filepath.Join(s.dir, "nightshelf")
	if out, err := exec.Command("go", "build", "-o", s.binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	s.broker = freeAddress(t)
	s.startMosquitto(mosquitto)
	s.phone = httptest.NewServer(http.HandlerFunc(s.hear))
	t.Cleanup(s.phone.Close)
	s.write("secret", phoneSecret)
	s.write("room.yaml", s.config())
	log, err := os.Create(filepath.Join(s.dir, "daemon.log"))
	if err != nil {
		t.Fatal(err)
	}
	s.log = log
	t.Cleanup(func() {
		_ = log.Close()
		if t.Failed() {
			said, _ := os.ReadFile(log.Name())
			t.Logf("the daemon said:\n%s", said[max(0, len(said)-4000):])
		}
	})
	return s
}

func freeAddress(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func (s *scene) write(name, text string) {
	if err := os.WriteFile(filepath.Join(s.dir, name), []byte(text), 0o600); err != nil {
		s.t.Fatal(err)
	}
}

func (s *scene) startMosquitto(binary string) {
	_, port, _ := net.SplitHostPort(s.broker)
	s.write("mosquitto.conf", fmt.Sprintf(`listener %s 127.0.0.1
allow_anonymous true
persistence true
persistence_location %s/
autosave_interval 10
max_inflight_messages 1000
max_queued_messages 1000000
set_tcp_nodelay true
log_dest none
user root
`, port, s.dir))
	cmd := exec.Command(binary, "-c", filepath.Join(s.dir, "mosquitto.conf"))
	if err := cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	s.until("mosquitto listens", 10*time.Second, func() bool {
		c, err := net.Dial("tcp", s.broker)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	})
}

func (s *scene) config() string {
	var b strings.Builder
	fmt.Fprintf(&b, "room: Recorded run\nzone: UTC\nclock: readings\nlateness: 1h\nlisten: %s\ndata: night.db\n", freeAddress(s.t))
	b.WriteString("staffed:\n  - {days: daily, from: \"08:00\", to: \"17:30\"}\n")
	fmt.Fprintf(&b, "broker:\n  url: tcp://%s\n  client_id: recorded-run\n  topics: [\"shelf/#\"]\n", s.broker)
	fmt.Fprintf(&b, "phones:\n  - {name: duty, url: %q, secret_file: secret, allow_private: true}\nvessels:\n", s.phone.URL+"/calls")
	for _, v := range s.folder.Vessels {
		fmt.Fprintf(&b, "  - {name: %q, volume_l: %g, lights_on: %q, light_hours: %g, light_shape: %s, par_umol: %g, temp_c: %g, air_lpm: %g, interval: %s",
			v.Name, v.VolumeL, fmt.Sprintf("%02d:%02d", int(v.LightsOn.Hours()), int(v.LightsOn.Minutes())%60), v.LightHours.Hours(), v.LightShape, v.ParUmol, v.TempC, v.AirLpm, v.Interval)
		for _, l := range s.folder.Lots {
			if l.Vessel == v.Name && l.HarvestOD > 0 {
				fmt.Fprintf(&b, ", harvest_od: %g", l.HarvestOD)
			}
		}
		b.WriteString("}\n")
	}
	return b.String()
}

// hear is the phone: it checks the signature and remembers the id.
func (s *scene) hear(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	id := r.Header.Get("webhook-id")
	var said struct {
		Data struct {
			Text string `json:"text"`
		} `json:"data"`
	}
	err := json.Unmarshal(body, &said)
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case !signed(r, body):
		s.badlySaid = append(s.badlySaid, id+": signature")
	case err != nil || said.Data.Text == "":
		s.badlySaid = append(s.badlySaid, fmt.Sprintf("%s: no text in %.200s", id, body))
	}
	s.heard[id]++
	s.texts[id] = said.Data.Text
	w.WriteHeader(http.StatusNoContent)
}

func signed(r *http.Request, body []byte) bool {
	secret, err := webhook.ParseSecret(phoneSecret)
	if err != nil {
		return false
	}
	_, err = secret.Verify(r.Header, body, time.Now())
	return err == nil
}

func (s *scene) startDaemon() {
	s.starts++
	s.daemon = exec.Command(s.binary, "watch", "--config", filepath.Join(s.dir, "room.yaml"))
	s.daemon.Stdout, s.daemon.Stderr = s.log, s.log
	s.daemon.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := s.daemon.Start(); err != nil {
		s.t.Fatal(err)
	}
}

func (s *scene) killDaemon() {
	_ = s.daemon.Process.Signal(syscall.SIGKILL)
	_ = s.daemon.Wait()
}

func (s *scene) stopDaemon() {
	_ = s.daemon.Process.Signal(syscall.SIGTERM)
	if err := s.daemon.Wait(); err != nil {
		s.t.Errorf("the daemon did not stop cleanly: %v", err)
	}
}

// until asks often until something holds.
func (s *scene) until(what string, within time.Duration, holds func() bool) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for !holds() {
		select {
		case <-ctx.Done():
			s.t.Fatalf("waited %v in vain until %s", within, what)
		case <-tick.C:
		}
	}
}

// play publishes everything at QoS 1, as fast as the broker takes it and the
// daemon keeps up, and kills the daemon at random instants on the way.
func (s *scene) play(messages [][]byte, kills int, r *rand.Rand) {
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + s.broker).SetClientID("recorder").SetCleanSession(true))
	if tok := client.Connect(); !tok.WaitTimeout(10*time.Second) || tok.Error() != nil {
		s.t.Fatalf("connect: %v", tok.Error())
	}
	defer client.Disconnect(250)
	// The session must exist before anything is published to it.
	s.until("the daemon listens", 60*time.Second, s.ready)
	begun := time.Now()
	done := make(chan struct{})
	go func() {
		defer close(done)
		var window []paho.Token
		for _, m := range messages {
			window = append(window, client.Publish("shelf/recorded", 1, false, m))
			if len(window) > 200 {
				window[0].Wait()
				window = window[1:]
			}
		}
		for _, tok := range window {
			tok.Wait()
		}
	}()
	s.disturb(kills, r, func() { // between kills: until the next has got somewhere
		s.until("the daemon listens", 60*time.Second, s.ready)
	})
	<-done
	s.publishing = time.Since(begun)
}

// disturb kills and starts the daemon again.
func (s *scene) disturb(kills int, r *rand.Rand, recovered func()) {
	for range kills {
		wait := time.NewTimer(time.Duration(20+r.IntN(600)) * time.Millisecond)
		<-wait.C
		s.killDaemon()
		s.startDaemon()
		// Half of the kills hit a daemon that has hardly come up.
		if r.IntN(2) == 0 {
			recovered()
		}
	}
	recovered()
}

func (s *scene) page(path string) (int, string) {
	config, _ := os.ReadFile(filepath.Join(s.dir, "room.yaml"))
	_, after, _ := strings.Cut(string(config), "listen: ")
	address, _, _ := strings.Cut(after, "\n")
	client := http.Client{Timeout: 2 * time.Second}
	resp, err := client.Get("http://" + address + path)
	if err != nil {
		return 0, ""
	}
	defer resp.Body.Close()
	body, _ := io.ReadAll(resp.Body)
	return resp.StatusCode, string(body)
}

func (s *scene) ready() bool {
	code, _ := s.page("/readyz")
	return code == http.StatusOK
}

// settle waits until the broker has nothing left for the daemon, all is judged
// and every call is through.
func (s *scene) settle(sent *tally) {
	s.until("all is judged and called", 5*time.Minute, func() bool {
		_, metrics := s.page("/metrics")
		quiet := strings.Contains(metrics, "\nnightshelf_backlog_batches 0\n") &&
			strings.Contains(metrics, "nightshelf_calls{state=\"queued\"} 0\n")
		return quiet && s.stored() == len(sent.unique)
	})
}

// stored reads the number of readings off the set-aside page's totals: it is
// asked through a second connection, as a person with a database tool would.
func (s *scene) stored() int {
	_, metrics := s.page("/metrics")
	_, after, ok := strings.Cut(metrics, "\nnightshelf_stored_readings ")
	if !ok {
		return -1
	}
	n, _, _ := strings.Cut(after, "\n")
	f, _ := strconv.ParseFloat(n, 64)
	return int(f)
}

func (s *scene) check(sent *tally, kills int) {
	ctx := context.Background()
	db, err := store.Open(ctx, filepath.Join(s.dir, "night.db"))
	if err != nil {
		s.t.Fatal(err)
	}
	defer db.Close()
	book, err := ledger.Open(ctx, db)
	if err != nil {
		s.t.Fatal(err)
	}
	totals, err := db.Totals(ctx)
	if err != nil {
		s.t.Fatal(err)
	}
	alarms, err := book.Alarms(ctx, ledger.Filter{Limit: 10000})
	if err != nil {
		s.t.Fatal(err)
	}
	calls, err := book.Calls(ctx, 10000)
	if err != nil {
		s.t.Fatal(err)
	}
	aside := int64(0)
	for _, n := range totals.Refused {
		aside += n
	}
	if got, want := totals.Readings, int64(len(sent.unique)); got != want {
		s.t.Errorf("%d readings stored, want %d", got, want)
	}
	if got, want := totals.Entries, int64(sent.entries); got != want {
		s.t.Errorf("%d entries stored, want %d", got, want)
	}
	// A refused line comes again with its message when that was not yet
	// acknowledged: at least once is what is promised of it.
	if aside < int64(sent.refused) {
		s.t.Errorf("%d pieces set aside, want %d at least", aside, sent.refused)
	}
	s.checkCalls(calls)
	s.checkAlarms(alarms, sent)
	s.report(sent, totals, aside, alarms, calls, kills)
}

func (s *scene) checkCalls(calls []alerts.Call) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, c := range calls {
		if c.State != alerts.Delivered {
			s.t.Errorf("call %s is %s: %s", c.ID, c.State, c.Last)
		}
		if s.heard[c.ID] == 0 {
			s.t.Errorf("call %s never reached the phone", c.ID)
		}
	}
	if len(s.heard) != len(calls) {
		s.t.Errorf("the phone heard %d ids, the ledger has %d calls", len(s.heard), len(calls))
	}
	for _, fault := range s.badlySaid {
		s.t.Error("the phone:", fault)
	}
}

// checkAlarms holds the alarms against those of a run that nobody disturbed.
func (s *scene) checkAlarms(got []alerts.Alarm, sent *tally) {
	run, err := backtest.One(s.folder, backtest.Options{Staffed: sent.staffed})
	if err != nil {
		s.t.Fatal(err)
	}
	var want, have []string
	for _, a := range run.Alarms {
		want = append(want, fmt.Sprintf("%s %s %s", a.Vessel, a.Class, a.ID))
	}
	for _, a := range got {
		have = append(have, fmt.Sprintf("%s %s %s", a.Vessel, a.Class, a.ID))
	}
	slices.Sort(want)
	slices.Sort(have)
	want = slices.Compact(want) // one that resumed is listed at each raising
	if !slices.Equal(have, want) {
		s.t.Errorf("alarms after %d starts:\n%s\nundisturbed:\n%s", s.starts, strings.Join(have, "\n"), strings.Join(want, "\n"))
	}
	if len(want) == 0 {
		s.t.Error("the record raises no alarm: it shows nothing")
	}
}

// report prints what a person wants to know of such a run.
func (s *scene) report(sent *tally, totals store.Totals, aside int64, alarms []alerts.Alarm, calls []alerts.Call, kills int) {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "lines sent\t%d\t(%d readings, published in %.1f s with %d kills)\n", sent.lines, sent.readings, s.publishing.Seconds(), kills)
	fmt.Fprintf(w, "readings stored\t%d\n", totals.Readings)
	fmt.Fprintf(w, "repeated in the record\t%d\n", sent.readings-len(sent.unique))
	fmt.Fprintf(w, "entries stored\t%d of %d\n", totals.Entries, sent.entries)
	fmt.Fprintf(w, "set aside\t%d\t(%d sent)\n", aside, sent.refused)
	fmt.Fprintf(w, "lost\t%d\n", int64(len(sent.unique))-totals.Readings)
	s.mu.Lock()
	defer s.mu.Unlock()
	again := 0
	for _, n := range s.heard {
		again += n - 1
	}
	fmt.Fprintf(w, "calls delivered\t%d\t(%d deliveries repeated under their id)\n", len(calls), again)
	slices.Reverse(alarms)
	for _, a := range alarms {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", a.Raised.Format(time.RFC3339), a.Vessel, a.Class, cut(a.CallID), s.texts[a.CallID])
	}
	_ = w.Flush()
	s.t.Log("\n" + b.String())
}

func cut(id string) string { return id[:min(len(id), 13)] }
