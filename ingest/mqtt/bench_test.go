package mqtt

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/nightshelf/nightshelf/ingest"
)

// fileSink commits every batch as a store does: one write, one sync.
type fileSink struct {
	f    *os.File
	next ingest.Sink
}

func (s fileSink) Put(ctx context.Context, messages []ingest.Message) error {
	var b []byte
	for _, m := range messages {
		b = append(append(b, m.Payload...), '\n')
	}
	if _, err := s.f.Write(b); err != nil {
		return err
	}
	if err := s.f.Sync(); err != nil {
		return err
	}
	return s.next.Put(ctx, messages)
}

// counter closes done when it has seen want messages.
type counter struct {
	want, seen int
	done       chan struct{}
}

func (c *counter) Put(_ context.Context, messages []ingest.Message) error {
	c.seen += len(messages)
	if c.seen >= c.want && c.seen-len(messages) < c.want {
		close(c.done)
	}
	return nil
}

// BenchmarkQoS1 is the rate of one-line messages through mosquitto, with a
// sink that does nothing and one that commits.
func BenchmarkQoS1(b *testing.B) {
	url := realBroker(b).url()
	for _, commits := range []bool{false, true} {
		name := map[bool]string{false: "null sink", true: "committing sink"}[commits]
		b.Run(name, func(b *testing.B) {
			count := &counter{want: b.N, done: make(chan struct{})}
			var sink ingest.Sink = count
			if commits {
				f, err := os.Create(filepath.Join(b.TempDir(), "journal"))
				if err != nil {
					b.Fatal(err)
				}
				defer func() { _ = f.Close() }()
				sink = fileSink{f: f, next: count}
			}
			s := start(b, url, sink, nil)
			untilSubscribed(b, s)
			c := publisher(b, url)
			b.ResetTimer()
			var window [1000]paho.Token // in flight at once
			for i := range b.N {
				if old := window[i%len(window)]; old != nil {
					wait(b, "publish", old)
				}
				window[i%len(window)] = c.Publish("shelf/C07", 1, false, payload(i))
			}
			<-count.done
			b.StopTimer()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "messages/s")
			stop(b, s)
			c.Disconnect(100)
		})
	}
}
