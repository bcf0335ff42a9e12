package daemon

import (
	"context"
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/alerts/outbox"
	"github.com/nightshelf/nightshelf/alerts/webhook"
	"github.com/nightshelf/nightshelf/cmd/internal/page"
)

func newOutbox(d *Daemon, receivers []webhook.Phone) *outbox.Outbox {
	var to []outbox.Phone
	for _, p := range receivers {
		to = append(to, outbox.Phone{Name: p.Name, Send: func(ctx context.Context, c alerts.Call) alerts.Result {
			return webhook.Send(ctx, p, c)
		}})
	}
	return outbox.New(outbox.Options{Store: d.ledger, Phones: to, Logger: d.log, Attempted: d.intake.count.attempt})
}

// retryingMost is after how many attempts in vain in a row the way to the
// phones counts as broken.
const retryingMost = 3

func (d *Daemon) callsPart() page.Part {
	if len(d.config.Phones) == 0 {
		return page.Part{Name: "calls", OK: true, Detail: "no phone is configured: alarms show on the page only"}
	}
	if lost := d.lostCalls(); lost > 0 {
		return page.Part{Name: "calls", Detail: fmt.Sprintf("in the last day %d never arrived; see the alarms", lost)}
	}
	s := d.outbox.State()
	if s.Retrying >= retryingMost {
		return page.Part{Name: "calls", Detail: fmt.Sprintf("%d attempts in vain, %s", s.Retrying, s.LastError)}
	}
	return page.Part{Name: "calls", OK: true}
}

// lostCalls counts the calls of the last day that failed or expired; where the
// disk does not answer, the store's own part says so.
func (d *Daemon) lostCalls() int {
	ctx, cancel := context.WithTimeout(context.Background(), pingWithin)
	defer cancel()
	calls, err := d.ledger.Calls(ctx, recentCalls)
	if err != nil {
		return 0
	}
	n := 0
	for _, c := range calls {
		if (c.State == alerts.Failed || c.State == alerts.Expired) && d.now().Sub(c.Done) < 24*time.Hour {
			n++
		}
	}
	return n
}

// callCounts counts calls by state; nil where the disk does not answer.
func (d *Daemon) callCounts() map[alerts.CallState]int {
	ctx, cancel := context.WithTimeout(context.Background(), pingWithin)
	defer cancel()
	n, err := d.ledger.CallStates(ctx)
	if err != nil {
		return nil
	}
	return n
}

// storedReadings counts what is kept; false where the disk does not answer.
func (d *Daemon) storedReadings() (int64, bool) {
	ctx, cancel := context.WithTimeout(context.Background(), pingWithin)
	defer cancel()
	t, err := d.store.Totals(ctx)
	return t.Readings, err == nil
}
