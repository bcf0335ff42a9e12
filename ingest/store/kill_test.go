package store_test

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// The test binary runs itself as the process to be killed.
const (
	victimVariable = "NIGHTSHELF_STORE_VICTIM"
	kills          = 20
	perKillBatch   = 60 // more than one statement
)

func TestMain(m *testing.M) {
	if path := os.Getenv(victimVariable); path != "" {
		if err := victim(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	goleak.VerifyTestMain(m)
}

// victim appends until it is killed, and says the number of every batch that
// was acknowledged. What is in batch number n follows from n.
func victim(path string) error {
	ctx := context.Background()
	s, err := store.Open(ctx, path)
	if err != nil {
		return err
	}
	for n := nextOf(ctx, s); ; n += 2 {
		kept, err := s.AppendAll(ctx, []ingest.Batch{numbered(n), numbered(n + 1)})
		if err != nil {
			return err
		}
		for i, k := range kept {
			if want := (ingest.Kept{Seq: n + int64(i), Stored: perKillBatch, Entries: 1, Refused: 1}); k != want {
				return fmt.Errorf("kept %+v, want %+v", k, want)
			}
			fmt.Println(k.Seq)
		}
		if n%7 == 0 {
			if _, err := s.Pack(ctx, numbered(n).Arrived); err != nil {
				return err
			}
		}
	}
}

// nextOf returns the number of the first batch that is not there.
func nextOf(ctx context.Context, s *store.Store) int64 {
	n, err := s.Backlog(ctx)
	if err != nil {
		return -1
	}
	return n + 1
}

func numbered(n int64) ingest.Batch {
	when := evening.Add(time.Duration(n) * 20 * time.Minute)
	b := ingest.Batch{Arrived: when, Refused: []ingest.Refused{{Reason: ingest.BadTime}},
		Entries: []ingest.Entry{{Vessel: "C07", Kind: ingest.Look, At: when, Written: when}}}
	for i := range perKillBatch {
		b.Readings = append(b.Readings, ingest.Reading{Vessel: fmt.Sprint("C", i%3), Quantity: ingest.OD, Value: float64(n),
			At: when.Add(time.Duration(i) * time.Second)})
	}
	return b
}

// Killed at any instant, every batch that was acknowledged is there whole, and
// none is there in part.
func TestKill(t *testing.T) {
	path := filepath.Join(t.TempDir(), "room.db")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	last := int64(0) // acknowledged
	for range kills {
		last = max(last, kill(t, self, path))
		s := open(t, path)
		checkKilled(t, s, last)
		closeNow(t, s)
	}
	if last < kills {
		t.Errorf("%d batches in %d lives: too few to say anything", last, kills)
	}
}

// kill runs the victim, kills it at a random instant after its first words,
// and returns the last number it said, 0 if none.
func kill(t *testing.T, self, path string) (last int64) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	cmd := exec.CommandContext(ctx, self) // the end of ctx is SIGKILL
	cmd.Env = append(os.Environ(), victimVariable+"="+path)
	var complaint strings.Builder
	cmd.Stderr = &complaint
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	patience := rand.IntN(30)
	for i := 0; lines.Scan(); i++ {
		n, err := strconv.ParseInt(lines.Text(), 10, 64)
		if err != nil {
			break // cut off in the middle of a line
		}
		last = n
		if i == patience {
			time.AfterFunc(time.Duration(rand.IntN(3000))*time.Microsecond, cancel)
		}
	}
	if cmd.Wait() == nil || complaint.Len() > 0 {
		t.Fatalf("it was not killed but ended: %s", complaint.String())
	}
	return last
}

func checkKilled(t *testing.T, s *store.Store, last int64) {
	t.Helper()
	ctx := t.Context()
	batches, err := s.Inbox(ctx, 0, 0)
	if err != nil || int64(len(batches)) < last {
		t.Fatalf("%d batches are there, %d were acknowledged, %v", len(batches), last, err)
	}
	byValue := make(map[float64]int)
	total := 0
	for r, err := range s.Between(ctx, time.Time{}, time.Time{}) {
		if err != nil {
			t.Fatal(err)
		}
		byValue[r.Value]++
		total++
	}
	for i, b := range batches {
		n := int64(i + 1)
		if b.Seq != n || len(b.Readings) != perKillBatch || b.Readings[0] != numbered(n).Readings[0] || len(b.Entries) != 1 || byValue[float64(n)] != perKillBatch {
			t.Fatalf("batch %d has number %d, %d readings (%d found), %d entries", n, b.Seq, len(b.Readings), byValue[float64(n)], len(b.Entries))
		}
	}
	got, err := s.Totals(ctx)
	if err != nil {
		t.Fatal(err)
	}
	n := int64(len(batches))
	if got.Readings != perKillBatch*n || int64(total) != got.Readings || got.Entries != n || got.Refused[ingest.BadTime] != n {
		t.Fatalf("%d batches, %d readings found, totals %+v: something is there in part or twice", n, total, got)
	}
}
