package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/nightshelf/nightshelf/alerts/ledger"
	"github.com/nightshelf/nightshelf/alerts/room"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/logbook"
	"github.com/nightshelf/nightshelf/ingest/store"
)

// watch takes batches from the store's inbox through the room, in order, and
// writes down what comes of them. Decisions, the calls they ask for, the
// place in the inbox and the room's memory go to disk in one transaction, so
// that a kill at any instant repeats no decision and loses none: what was
// not written is decided again, with the same ids, from the same batches.
type watch struct {
	store  *store.Store
	ledger *ledger.Ledger
	room   *room.Room
	follow bool // the room's time follows the readings
	log    *slog.Logger
	now    func() time.Time
	wake   func() // the outbox: there are calls

	cursor  int64        // newest batch that the room has taken in
	saved   int64        // newest batch whose outcome is on disk
	pending room.Outcome // decided and not yet on disk
	savedAt time.Time
	said    string            // the trouble that was last logged
	saidAt  time.Time         // when
	leapt   time.Time         // wall time at which the clock was first seen to have leapt; zero: it has not
	fresh   func() *room.Room // makes the room without any memory
	quiet   time.Time         // wall time before which the clock alone does not move the room

	news chan struct{}
	acks chan acknowledgement
	view atomic.Pointer[view]
}

// view is what others see of the room: never written to once it is shown.
type view struct {
	now     time.Time
	vessels []room.View
	tooLate int64
	stuck   string // why decisions cannot be written down; empty: they can
}

type acknowledgement struct {
	id, who string
	reply   chan error
}

const (
	// inboxMost is how many batches are read at a time.
	inboxMost = 64
	// saveEvery bounds how much is worked out again after a kill.
	saveEvery = 10 * time.Second
	// startQuiet is how long after the start the broker may take to bring what
	// it kept for us, before silence counts as silence.
	startQuiet = 90 * time.Second
	// caughtUp is how far behind the clock a reading may be and still be news.
	caughtUp = 2 * time.Minute
	// standsFor is how long a clock that leapt must go on before it is believed.
	standsFor = time.Minute
	// rebuildWithin bounds building the room again while it runs.
	rebuildWithin = 2 * time.Minute
	// version of what is kept in the ledger's snapshot.
	snapshotVersion = room.Version
	// rebuildFrom is how much of the past a room is built again from when no
	// snapshot can be read; the logbook is read whole.
	rebuildFrom = 21 * 24 * time.Hour
)

// resume brings the room back to where the ledger left it.
func (w *watch) resume(ctx context.Context) error {
	r, err := w.ledger.Resume(ctx)
	if err != nil {
		return fmt.Errorf("resume the watch: %w", err)
	}
	w.cursor, w.saved, w.savedAt = r.Cursor, r.Cursor, w.now()
	if !r.Found {
		return nil
	}
	if w.now().Sub(r.RoomTime) > caughtUp {
		w.quiet = w.now().Add(startQuiet)
	}
	if r.Version == snapshotVersion {
		if err = w.room.Restore(r.Snapshot); err == nil {
			return nil
		}
		w.log.Warn("the room's memory cannot be read, building it again from the readings", "error", err)
	}
	return w.rebuild(ctx, r.RoomTime)
}

// rebuild lives through the stored past again without raising anything, and
// takes over the alarms that the ledger knows.
func (w *watch) rebuild(ctx context.Context, until time.Time) error {
	from := until.Add(-rebuildFrom)
	// All of the logbook: lots that are refilled live for months.
	written, err := w.store.Entries(ctx, "", time.Time{}, until.Add(time.Hour))
	if err != nil {
		return fmt.Errorf("read the logbook back: %w", err)
	}
	entries := logbook.Effective(written)
	for r, err := range w.store.Between(ctx, from, until.Add(time.Millisecond)) {
		if err != nil {
			return fmt.Errorf("read the readings back: %w", err)
		}
		b := ingest.Batch{Readings: []ingest.Reading{r}}
		for len(entries) > 0 && !entries[0].At.After(r.At) {
			b.Entries = append(b.Entries, entries[0])
			entries = entries[1:]
		}
		w.room.Digest(b, time.Time{})
		w.room.Advance(r.At, time.Time{})
	}
	w.room.Digest(ingest.Batch{Entries: entries}, time.Time{})
	w.room.Remember(written)
	open, err := w.ledger.Alarms(ctx, ledger.Filter{OpenOnly: true})
	if err != nil { // the good ones come all the same
		w.log.Error("read the open alarms back", "error", err)
	}
	w.room.Recall(open, until)
	return nil
}

// run watches until ctx is done, then writes down where it stands.
func (w *watch) run(ctx context.Context) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	w.round(ctx)
	for {
		select {
		case <-ctx.Done():
			w.finish()
			return
		case <-w.news:
		case <-tick.C:
		case a := <-w.acks:
			a.reply <- w.acknowledge(ctx, a)
		}
		w.round(ctx)
	}
}

// round takes in all that is waiting.
func (w *watch) round(ctx context.Context) {
	for ctx.Err() == nil {
		n, err := w.digest(ctx)
		if err != nil {
			w.trouble("read the inbox", err)
			return
		}
		w.advance(n)
		if err := w.save(ctx, false); err != nil {
			w.trouble("write decisions down", err)
			return
		}
		w.publish("")
		if n < inboxMost {
			return
		}
	}
}

// digest takes in one helping of batches.
func (w *watch) digest(ctx context.Context) (int, error) {
	batches, err := w.store.Inbox(ctx, w.cursor, inboxMost)
	var damaged *store.Damaged
	if err != nil && !errors.As(err, &damaged) {
		return 0, err
	}
	for _, b := range batches {
		w.add(w.room.Digest(b, w.now()))
		w.cursor = b.Seq
		if n := len(b.Readings); n > 0 && w.now().Sub(b.Readings[n-1].At) < caughtUp {
			w.quiet = time.Time{} // what comes now is of now
		}
	}
	if damaged != nil && len(batches) == 0 {
		// Its readings are in the store all the same; the judge goes without.
		w.log.Error("a batch of the inbox is damaged and passed over", "seq", damaged.Seq, "error", damaged.Err)
		w.cursor = damaged.Seq
		return inboxMost, nil
	}
	return len(batches), nil
}

// advance moves the room on by the wall clock, once nothing waits.
func (w *watch) advance(took int) {
	now := w.now()
	if w.follow || took == inboxMost || now.Before(w.quiet) {
		return
	}
	if w.room.Now().IsZero() || w.near(now) {
		w.leapt = time.Time{}
		w.add(w.room.Advance(now, now))
		return
	}
	if !w.stands(now) {
		return
	}
	if now.Before(w.room.Now()) {
		w.goBack(now)
		return
	}
	w.log.Info("nobody watched for a while", "from", w.room.Now(), "to", now)
	w.add(w.room.Pass(now, now))
}

// near reports whether the wall clock is where the room's time leads it.
func (w *watch) near(now time.Time) bool {
	d := now.Sub(w.room.Now())
	return -caughtUp < d && d < caughtUp
}

// stands reports whether a clock that leapt, ahead or back, has gone on from
// there for a while: a clock that is wrong for a moment is not followed.
func (w *watch) stands(now time.Time) bool {
	since := now.Sub(w.leapt)
	if w.leapt.IsZero() || since < 0 || since > 10*standsFor {
		w.leapt = now
		w.log.Warn("the clock leapt", "room", w.room.Now(), "clock", now)
		return false
	}
	return since >= standsFor
}

// goBack builds the room again as of now, when the clock it had followed was
// ahead. Alarms that stand are taken over; readings dated later are in the
// store and count when their time comes.
func (w *watch) goBack(now time.Time) {
	w.log.Warn("the clock was ahead: the room is built again", "from", w.room.Now(), "to", now)
	w.room = w.fresh()
	ctx, cancel := context.WithTimeout(context.Background(), rebuildWithin)
	defer cancel()
	if err := w.rebuild(ctx, now); err != nil {
		w.log.Error("build the room again", "error", err)
	}
	w.leapt = time.Time{}
	w.add(w.room.Pass(now, now))
}

func (w *watch) add(o room.Outcome) {
	w.pending.Alarms = append(w.pending.Alarms, o.Alarms...)
	w.pending.Calls = append(w.pending.Calls, o.Calls...)
	for _, a := range o.Alarms {
		w.log.Info("alarm", "vessel", a.Vessel, "class", a.Class, "state", a.State, "since", a.Finding.Since, "what", a.Finding.What)
	}
}

// save writes down what was decided: at once if anything was, else now and
// then, so that little is worked out again after a kill.
func (w *watch) save(ctx context.Context, always bool) error {
	if w.pending.Empty() && !always && (w.cursor == w.saved || w.now().Sub(w.savedAt) < saveEvery) {
		return nil
	}
	snapshot, err := w.room.Snapshot()
	if err != nil {
		return err
	}
	err = w.ledger.Commit(ctx, ledger.Decision{Cursor: w.cursor, RoomTime: w.room.Now(), Version: snapshotVersion,
		Snapshot: snapshot, Alarms: w.pending.Alarms, Calls: w.pending.Calls})
	if err != nil {
		return err
	}
	calls := len(w.pending.Calls) > 0
	w.pending = room.Outcome{}
	w.saved, w.savedAt = w.cursor, w.now()
	if calls {
		w.wake()
	}
	if err := w.store.Digested(ctx, w.cursor); err != nil {
		// They stay and are passed over by the cursor; the next time clears them.
		w.log.Warn("clear the inbox", "error", err)
	}
	return nil
}

func (w *watch) acknowledge(ctx context.Context, a acknowledgement) error {
	out, ok := w.room.Acknowledge(a.id, a.who)
	if !ok {
		return errUnknownAlarm
	}
	w.add(out)
	return w.save(ctx, false)
}

// finish writes down where the watch stands, within a bound of its own.
func (w *watch) finish() {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if err := w.save(ctx, true); err != nil {
		// Nothing is lost by it: the inbox still holds what was not saved.
		w.log.Warn("write down the room's memory at the end", "error", err)
	}
}

func (w *watch) trouble(step string, err error) {
	if errors.Is(err, context.Canceled) {
		return
	}
	if said := step + err.Error(); said != w.said || w.now().Sub(w.saidAt) > 5*time.Minute || w.now().Before(w.saidAt) {
		w.log.Error(step, "error", err) // once, and now and then: it comes back each second
		w.said, w.saidAt = said, w.now()
	}
	w.publish(fmt.Sprintf("%s: %v", step, err))
}

func (w *watch) publish(stuck string) {
	w.view.Store(&view{now: w.room.Now(), vessels: w.room.Views(), tooLate: w.room.TooLate(), stuck: stuck})
}

// nudge tells the watch that there is something in the inbox.
func (w *watch) nudge() {
	select {
	case w.news <- struct{}{}:
	default: // it knows already
	}
}

var errUnknownAlarm = errors.New("no alarm of that id is open")
