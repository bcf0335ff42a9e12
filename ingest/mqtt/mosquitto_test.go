package mqtt

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// mosquitto is a real broker process that keeps its sessions in a folder.
type mosquitto struct {
	t      testing.TB
	path   string
	folder string
	port   int
	cmd    *exec.Cmd
	lines  chan string // its log; closed when it ended
}

// realBroker starts mosquitto with the given further lines of configuration.
func realBroker(t testing.TB, more ...string) *mosquitto {
	t.Helper()
	path, err := exec.LookPath("mosquitto")
	if err != nil {
		path = "/usr/sbin/mosquitto" // often not on the path of a user
		if _, err := os.Stat(path); err != nil {
			if requireAll() {
				t.Fatal("mosquitto is missing")
			}
			t.Skip("mosquitto is missing")
		}
	}
	m := &mosquitto{t: t, path: path, folder: t.TempDir(), port: freePort(t)}
	text := fmt.Sprintf("listener %d 127.0.0.1\npersistence true\npersistence_location %s/\nautosave_interval 60\n"+
		"max_inflight_messages 1000\nmax_queued_messages 100000\nset_tcp_nodelay true\nlog_dest stderr\nlog_type all\nuser root\n",
		m.port, m.folder)
	if more == nil {
		more = []string{"allow_anonymous true"}
	}
	text += strings.Join(more, "\n") + "\n"
	if err := os.WriteFile(m.config(), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	m.run()
	t.Cleanup(m.kill)
	return m
}

func (m *mosquitto) config() string { return filepath.Join(m.folder, "broker.conf") }
func (m *mosquitto) url() string    { return fmt.Sprintf("mqtt://127.0.0.1:%d", m.port) }

// run starts the process and waits until it listens.
func (m *mosquitto) run() {
	m.t.Helper()
	m.cmd = exec.Command(m.path, "-c", m.config())
	out, err := m.cmd.StderrPipe()
	if err != nil {
		m.t.Fatal(err)
	}
	if err := m.cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	lines := make(chan string, 64)
	m.lines = lines
	go func() { // ends with the process
		defer close(lines)
		for s := bufio.NewScanner(out); s.Scan(); {
			if strings.HasSuffix(s.Text(), " running") || strings.Contains(s.Text(), "Saving in-memory") {
				select {
				case lines <- s.Text():
				default: // nobody waits; never hold up the broker
				}
			}
		}
	}()
	m.untilLogged(" running")
}

func (m *mosquitto) untilLogged(word string) {
	m.t.Helper()
	m.repeatUntilLogged(word, 1, func() {})
}

// repeatUntilLogged does again and again until the log has the word n times.
func (m *mosquitto) repeatUntilLogged(word string, n int, do func()) {
	m.t.Helper()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	deadline := time.After(patienceOfTest)
	for n > 0 {
		select {
		case line, ok := <-m.lines:
			if !ok {
				m.t.Fatalf("mosquitto ended before it said %q", word)
			}
			if strings.Contains(line, word) {
				n--
			}
		case <-tick.C:
			do()
		case <-deadline:
			m.t.Fatalf("mosquitto did not say %q", word)
		}
	}
}

// save makes the broker write its sessions down. It does one thing at a time,
// so when it begins to save again the first is complete. A signal that comes
// while it saves is forgotten, so they are repeated.
func (m *mosquitto) save() {
	m.t.Helper()
	m.repeatUntilLogged("Saving in-memory", 2, func() {
		if err := m.cmd.Process.Signal(syscall.SIGUSR1); err != nil {
			m.t.Fatal(err)
		}
	})
}

// kill ends the process with no chance to save anything.
func (m *mosquitto) kill() {
	_ = m.cmd.Process.Kill()
	for range m.lines { // to the end of its log
	}
	_ = m.cmd.Wait()
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().(*net.TCPAddr).Port
}
