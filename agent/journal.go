package agent

import (
	"context"
	"sync"
)

// Journal stores what happened before anybody is told.
type Journal interface {
	// Commit stores all events or none, queues them for the publishers in the
	// same transaction, and returns them with Seq set, each one more than the
	// last.
	Commit(ctx context.Context, events []Event) ([]Event, error)
}

// MemoryJournal is a Journal with its outbox in memory: the newest events up
// to a limit. It is safe for concurrent use.
type MemoryJournal struct {
	mu      sync.Mutex
	limit   int
	publish bool
	events  []Event // consecutive Seq
	next    uint64
	deleted uint64 // delivered up to this Seq
	dropped uint64
}

// NewMemoryJournal keeps the newest limit events. publish says that somebody
// drains the outbox: then an event that falls off undelivered counts as dropped.
func NewMemoryJournal(limit int, publish bool) *MemoryJournal {
	return &MemoryJournal{limit: max(limit, 1), publish: publish, next: 1}
}

// Commit implements Journal. It never fails.
func (j *MemoryJournal) Commit(_ context.Context, events []Event) ([]Event, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	stored := make([]Event, len(events))
	for i, e := range events {
		e.Seq = j.next
		j.next++
		stored[i] = e
		j.events = append(j.events, e)
	}
	if over := len(j.events) - j.limit; over > 0 {
		for _, e := range j.events[:over] {
			if j.publish && e.Seq > j.deleted {
				j.dropped++
			}
		}
		j.events = append([]Event(nil), j.events[over:]...)
	}
	return stored, nil
}

// Pending gives up to limit undelivered events with Seq > after, in order.
func (j *MemoryJournal) Pending(_ context.Context, after uint64, limit int) ([]Event, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if !j.publish {
		return nil, nil
	}
	return j.after(max(after, j.deleted), limit), nil
}

// Delete takes the events up to and with seq out of the outbox: they were
// delivered. They stay in the journal.
func (j *MemoryJournal) Delete(_ context.Context, seq uint64) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.deleted = min(max(j.deleted, seq), j.next-1)
	return nil
}

// Events gives up to limit events with Seq > after, delivered or not, in order.
func (j *MemoryJournal) Events(_ context.Context, after uint64, limit int) ([]Event, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.after(after, limit), nil
}

// OutboxPending counts the undelivered events.
func (j *MemoryJournal) OutboxPending() int {
	j.mu.Lock()
	defer j.mu.Unlock()
	if !j.publish {
		return 0
	}
	return len(j.after(j.deleted, len(j.events)))
}

// OutboxDropped counts the events that fell off undelivered.
func (j *MemoryJournal) OutboxDropped() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.dropped
}

func (j *MemoryJournal) after(seq uint64, limit int) []Event {
	if len(j.events) == 0 {
		return nil
	}
	from := 0
	if first := j.events[0].Seq; seq >= first {
		from = int(min(seq-first+1, uint64(len(j.events))))
	}
	to := min(from+max(limit, 0), len(j.events))
	return append([]Event(nil), j.events[from:to]...)
}
