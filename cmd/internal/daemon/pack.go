package daemon

import (
	"context"
	"time"
)

const (
	// packEvery is how often old hours are brought together.
	packEvery = time.Hour
	// packAfter is how old an hour must be: later than any reading that is
	// still expected, so that hardly one is packed twice.
	packAfter = 26 * time.Hour
)

// pack brings old hours together on disk, now and then: a seventh of the room,
// and faster to read. What cannot be packed stays as it is.
func (d *Daemon) pack(ctx context.Context) {
	tick := time.NewTicker(packEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		n, err := d.store.Pack(ctx, d.now().Add(-packAfter))
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			d.log.Warn("pack old hours", "error", err)
		case n > 0:
			d.log.Debug("packed old hours", "readings", n)
		}
	}
}
