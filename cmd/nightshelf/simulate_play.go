package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/runfolder"
)

// errEnough ends a simulation that was to last for a while only.
var errEnough = errors.New("the time that was given is over")

func contextFor(ctx context.Context, lasting time.Duration) (context.Context, func()) {
	return context.WithTimeoutCause(ctx, lasting, errEnough)
}

// outlet takes what a room says in one step.
type outlet interface {
	// take gets whole lines of line protocol, any of them empty. They are
	// valid until it returns.
	take(ctx context.Context, readings, entries []byte) error
}

// player lets a room live into an outlet.
type player struct {
	room     *simulate.Room
	plan     *simulate.Plan
	to       outlet
	pace     func(ctx context.Context, room time.Time) error // waits until the room's time has come; nil never
	progress io.Writer
	readings int
	entries  int
	told     time.Time
}

// play ends at the end of the plan, with ctx, or at the first error. That the
// time given is over is none.
func (p *player) play(ctx context.Context) error {
	var lines, events []byte
	for {
		readings, entries, ok := p.room.Step()
		if !ok {
			break
		}
		var err error
		if lines, events, err = encode(lines[:0], events[:0], readings, entries); err != nil {
			return err
		}
		if err = p.wait(ctx); err == nil {
			err = p.to.take(ctx, lines, events)
		}
		if err != nil {
			if errors.Is(context.Cause(ctx), errEnough) {
				break
			}
			return err
		}
		p.readings, p.entries = p.readings+len(readings), p.entries+len(entries)
		p.tell(false)
	}
	p.tell(true)
	return nil
}

func (p *player) wait(ctx context.Context) error {
	if p.pace == nil || ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return p.pace(ctx, p.room.Now())
}

func encode(lines, events []byte, readings []ingest.Reading, entries []ingest.Entry) ([]byte, []byte, error) {
	lines, err := lineproto.AppendReading(lines, readings...)
	for _, e := range entries {
		if err == nil {
			events, err = lineproto.AppendEntry(events, e)
		}
	}
	return lines, events, err
}

// tellEvery is how often the progress is shown.
const tellEvery = 2 * time.Second

func (p *player) tell(last bool) {
	now := time.Now()
	if p.told.IsZero() {
		p.told = now
	}
	if !last && now.Sub(p.told) < tellEvery {
		return
	}
	p.told = now
	share := ""
	if all := p.plan.End.Sub(p.plan.Start); all > 0 {
		share = fmt.Sprintf("%3.0f %%, ", 100*float64(p.room.Now().Sub(p.plan.Start))/float64(all))
	}
	_, _ = fmt.Fprintf(p.progress, "%s: %s%d readings, %d entries\n",
		p.room.Now().In(p.plan.Start.Location()).Format("2006-01-02 15:04 MST"), share, p.readings, p.entries)
}

// folderOutlet writes a run folder.
type folderOutlet struct{ w *runfolder.Writer }

func (f folderOutlet) take(ctx context.Context, readings, entries []byte) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return errors.Join(f.w.Readings(readings), f.w.Events(entries))
}

// write plays the room into a run folder, unpaced. What is broken off leaves
// no folder behind; what was to last for a while only is a shorter folder.
func (s *simulation) write(ctx context.Context, plan *simulate.Plan, progress io.Writer) error {
	w, err := runfolder.Create(s.out)
	if err != nil {
		return err
	}
	p := player{room: simulate.New(*plan, s.seed), plan: plan, to: folderOutlet{w}, progress: progress}
	err = errors.Join(w.Vessels(plan.Vessels()), w.Lots(plan.Lots()))
	if err == nil {
		err = p.play(ctx)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("write run folder: %w", err), w.Abandon())
	}
	return w.Close()
}
