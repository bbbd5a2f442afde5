package agent

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
)

const (
	// waitingMost bounds the events in memory while the disk fails: some 10 MB.
	waitingMost = 20_000
	// storeMost is how many waiting events go to the disk in one transaction.
	storeMost = 500
)

// Disk is what a Ledger stores on.
type Disk interface {
	// Store makes a numbered batch durable, all or nothing. What is there
	// already, after an error of unknown outcome, is skipped. Numbers may
	// have a gap before the batch.
	Store(ctx context.Context, b *Batch) error
	// Newest gives the newest number that may have been given out.
	Newest() uint64
	// GaveOut notes, as well as the disk allows, that numbers up to seq were
	// given to publishers without being stored.
	GaveOut(seq uint64)
	Events(ctx context.Context, after uint64, limit int) ([]Event, error)
	Between(ctx context.Context, h Happened, limit int) ([]Event, error) // newest first
	Delivered() uint64
	Undelivered() int // stored events that are not delivered
	Delete(ctx context.Context, upTo uint64) error
	Done(ctx context.Context, id string) (Done, bool, error)
	Notices() []string
}

// Ledger is a Journal on a disk that may fail: then events go on being
// numbered and published from memory, and are stored when the disk allows. It
// is safe for concurrent use.
type Ledger struct {
	disk    Disk
	publish atomic.Bool
	log     *slog.Logger

	mu        sync.Mutex
	next      uint64
	waiting   Batch  // numbered, not stored
	delivered uint64 // may be ahead of the disk's
	problem   error
	dropped   uint64
	done      recentDone
}

// NewLedger goes on after what the disk holds. publish says that somebody
// drains the outbox.
func NewLedger(disk Disk, publish bool, log *slog.Logger) *Ledger {
	l := &Ledger{disk: disk, log: log, next: disk.Newest() + 1, delivered: disk.Delivered()}
	l.publish.Store(publish)
	return l
}

// SetPublish says whether somebody drains the outbox from now on. Who begins to
// is not given what happened before.
func (l *Ledger) SetPublish(on bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if on && !l.publish.Load() {
		l.delivered = l.next - 1
	}
	l.publish.Store(on)
}

// Commit implements Journal.
func (l *Ledger) Commit(ctx context.Context, b *Batch) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.next = b.number(l.next)
	for _, d := range b.Done {
		l.done.add(d)
	}
	l.waiting.merge(b)
	if l.problem == nil {
		l.store(ctx)
	}
	if l.problem != nil && len(b.Events) > 0 {
		l.disk.GaveOut(l.next - 1)
	}
	l.shed()
}

// Retry implements Journal.
func (l *Ledger) Retry(ctx context.Context) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.problem != nil {
		l.store(ctx)
	}
}

// store writes what waits, in order, and the deliveries after it.
func (l *Ledger) store(ctx context.Context) {
	err := l.storeWaiting(ctx)
	if err == nil && l.publish.Load() && l.delivered > l.disk.Delivered() {
		err = l.disk.Delete(ctx, min(l.delivered, l.disk.Newest()))
	}
	l.report(err)
}

func (l *Ledger) storeWaiting(ctx context.Context) error {
	for !l.waiting.Empty() {
		part := l.waiting
		rest := Batch{}
		if len(part.Events) > storeMost { // the states after all their events
			part = Batch{Events: part.Events[:storeMost], At: part.At}
			rest = l.waiting
			rest.Events = rest.Events[storeMost:]
		}
		if err := l.disk.Store(ctx, &part); err != nil {
			return err
		}
		l.waiting = rest
	}
	return nil
}

// report tells the log when storing begins to fail and when it works again.
func (l *Ledger) report(err error) {
	switch {
	case err != nil && l.problem == nil:
		l.log.Error("store: cannot write; alarms go on and are kept in memory until it can", "error", err)
	case err == nil && l.problem != nil:
		l.log.Info("store: writes again", "dropped", l.dropped)
	}
	l.problem = err
}

// shed drops the oldest events that wait for too long.
func (l *Ledger) shed() {
	over := len(l.waiting.Events) - waitingMost
	if over <= 0 {
		return
	}
	if l.dropped == 0 {
		l.log.Error("store: has failed for so long that the oldest events in memory are dropped", "waiting", waitingMost)
	}
	l.dropped += uint64(over)
	l.waiting.Events = slices.Clone(l.waiting.Events[over:])
}

// Done implements Journal. A disk that cannot be read does not know: then
// only what was done since the start counts.
func (l *Ledger) Done(ctx context.Context, id string) (Done, bool) {
	l.mu.Lock()
	d, found := l.done.find(id)
	l.mu.Unlock()
	if found {
		return d, true
	}
	d, found, err := l.disk.Done(ctx, id)
	if err != nil {
		l.log.Warn("store: cannot look up a command's id; it is taken for new", "id", id, "error", err)
	}
	return d, found && err == nil
}

// Trouble implements Journal.
func (l *Ledger) Trouble() Trouble {
	l.mu.Lock()
	defer l.mu.Unlock()
	t := Trouble{Waiting: len(l.waiting.Events), Dropped: l.dropped, Notices: l.disk.Notices()}
	if l.problem != nil {
		t.Problem = l.problem.Error()
	}
	return t
}

// Pending gives up to limit undelivered events with Seq > after, in order.
func (l *Ledger) Pending(ctx context.Context, after uint64, limit int) ([]Event, error) {
	if !l.publish.Load() {
		return nil, nil
	}
	l.mu.Lock()
	after = max(after, l.delivered)
	l.mu.Unlock()
	return l.Events(ctx, after, limit)
}

// Events gives up to limit events with Seq > after, delivered or not, in order.
func (l *Ledger) Events(ctx context.Context, after uint64, limit int) ([]Event, error) {
	// Memory first: what moves to the disk meanwhile is then in both, not in
	// neither.
	l.mu.Lock()
	waiting := l.waiting.Events
	l.mu.Unlock()
	if len(waiting) > 0 && after+1 >= waiting[0].Seq {
		return following(nil, waiting, after, limit), nil
	}
	events, err := l.disk.Events(ctx, after, limit)
	if err != nil {
		return nil, err
	}
	return following(events, waiting, after, limit), nil
}

// following appends the waiting events that come after both.
func following(events, waiting []Event, after uint64, limit int) []Event {
	if n := len(events); n > 0 {
		after = events[n-1].Seq
	}
	for _, e := range waiting {
		if len(events) >= limit {
			break
		}
		if e.Seq > after {
			events = append(events, e)
		}
	}
	return events
}

// Delete takes the events up to and with seq out of the outbox: they were
// delivered. A disk that fails is told later; it is no error of the delivery.
func (l *Ledger) Delete(ctx context.Context, seq uint64) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.delivered = max(l.delivered, min(seq, l.next-1))
	if l.problem == nil {
		l.store(ctx)
	}
	return nil
}

// OutboxPending counts the undelivered events.
func (l *Ledger) OutboxPending() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.publish.Load() {
		return 0
	}
	n := l.disk.Undelivered()
	if ahead := l.delivered - min(l.delivered, l.disk.Delivered()); ahead > 0 {
		n -= min(n, int(min(ahead, waitingMost)))
	}
	stored := l.disk.Newest() // also what an error of unknown outcome hid
	for _, e := range l.waiting.Events {
		if e.Seq > max(l.delivered, stored) {
			n++
		}
	}
	return n
}

// OutboxDropped counts the events that were given up.
func (l *Ledger) OutboxDropped() uint64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.dropped
}

// merge appends a numbered batch; the newer state of an alarm counts.
func (b *Batch) merge(more *Batch) {
	for _, k := range more.Alarms {
		same := func(old KeptAlarm) bool { return old.Key == k.Key }
		if i := slices.IndexFunc(b.Alarms, same); i >= 0 {
			b.Alarms[i] = k
		} else {
			b.Alarms = append(b.Alarms, k)
		}
	}
	// Readers may hold the array; what they see of it never changes.
	b.Events = append(b.Events, more.Events...)
	b.Upkeep = append(b.Upkeep, more.Upkeep...)
	b.Done = append(b.Done, more.Done...)
	b.At, b.Stop = more.At, b.Stop || more.Stop
}
