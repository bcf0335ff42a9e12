package broker

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/nightshelf/nightshelf/ingest"
)

// null keeps nothing.
type null struct{}

func (null) Put(context.Context, []ingest.Message) error { return nil }

// grouped commits as a store with one writer does: whatever came while it
// synced the last time goes into the next sync.
type grouped struct {
	f    *os.File
	mu   sync.Mutex
	tail chan error // of the group that waits; nil if none does
	sync sync.Mutex // held while syncing
}

func (g *grouped) Put(_ context.Context, messages []ingest.Message) error {
	g.mu.Lock()
	for _, m := range messages {
		if _, err := g.f.Write(append(m.Payload, '\n')); err != nil {
			g.mu.Unlock()
			return err
		}
	}
	done, first := g.tail, g.tail == nil
	if first {
		done = make(chan error)
		g.tail = done
	}
	g.mu.Unlock()
	if !first {
		return <-done
	}
	g.sync.Lock()
	defer g.sync.Unlock()
	g.mu.Lock()
	g.tail = nil
	g.mu.Unlock()
	err := g.f.Sync()
	for {
		select {
		case done <- err: // to everybody who waits
		default:
			close(done)
			return err
		}
	}
}

// BenchmarkQoS1 is the rate of one-line messages from eight sensors, each
// waiting for its PUBACK, with a sink that does nothing and one that commits.
func BenchmarkQoS1(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "journal"))
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	b.Run("null sink", func(b *testing.B) { benchmark(b, null{}) })
	b.Run("committing sink", func(b *testing.B) { benchmark(b, &grouped{f: f}) })
}

func benchmark(b *testing.B, sink ingest.Sink) {
	const sensors = 8
	br := start(b, sink, nil)
	var clients []*client
	for i := range sensors {
		clients = append(clients, connect(b, br, string(rune('a'+i))))
	}
	b.ResetTimer()
	var all sync.WaitGroup
	for _, c := range clients {
		all.Go(func() {
			for range (b.N + sensors - 1) / sensors {
				pk := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
				pk.MessageID, pk.Qos, pk.TopicName, pk.Payload = 1, 1, "shelf/C07", []byte("reading,vessel=C07 od=0.412")
				if err := pk.Write(c.conn); err != nil {
					b.Error(err)
					return
				}
				if _, err := packets.ReadPacket(c.conn); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	b.StopTimer()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "messages/s")
}
