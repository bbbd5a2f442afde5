package agent

import (
	"context"
	"sync"
	"time"

	"weepd/rules/alarm"
)

// Stamp is an instant on both clocks.
type Stamp struct {
	Wall   time.Time
	Steady time.Duration
}

// Batch is what belongs together: all of it becomes durable, or nothing.
type Batch struct {
	Events []Event // each also goes into the outbox
	Alarms []KeptAlarm
	Upkeep []Upkeep
	Done   []Done
	At     Stamp // of the batch
	Stop   bool  // the agent stops by order
}

// Empty reports that there is nothing to store.
func (b *Batch) Empty() bool {
	return len(b.Events)+len(b.Alarms)+len(b.Upkeep)+len(b.Done) == 0 && !b.Stop
}

// KeptAlarm is one alarm as it must survive a restart: its life and how it
// was last shown.
type KeptAlarm struct {
	alarm.Entry
	Shown  Alarm `json:"shown"`
	Event  int   `json:"-"` // index in the batch of the event that made it so; -1: none
	Forget bool  `json:"-"` // there is no such alarm any more
}

// Upkeep is what somebody recorded, by a command of kind `record`.
type Upkeep struct {
	Seq     uint64    `json:"seq"` // of its event
	Time    time.Time `json:"time"`
	Gland   string    `json:"gland"`
	By      string    `json:"by"`
	Note    string    `json:"note,omitempty"`
	Command string    `json:"command"`
	Entry

	Event int           `json:"-"` // index in the batch
	At    time.Duration `json:"-"` // of the work, steady time of this run
}

// Done is a command that is done and what was replied.
type Done struct {
	ID    string `json:"id"`
	Sum   string `json:"sum"` // of the command's fields, so that an id used for another command shows
	Reply Reply  `json:"reply"`
}

// Trouble is what is wrong with the store. Its zero value: nothing.
type Trouble struct {
	Problem string   // why nothing is stored at present; empty: all is well
	Waiting int      // events in memory only
	Dropped uint64   // events lost to the journal because it failed for too long
	Notices []string // damaged files set aside since the start
}

// Journal stores what happened before anybody is told.
type Journal interface {
	// Commit numbers the events, stores the batch and queues the events for
	// the publishers in the same transaction. It always gives the events back
	// with Seq set, each one more than the last, and sets Seq of the batch's
	// Alarms and Upkeep: what cannot be stored now is published all the same,
	// kept in memory and tried again. Trouble tells.
	Commit(ctx context.Context, b *Batch)
	// Retry tries again what could not be stored. The loop calls it each second.
	Retry(ctx context.Context)
	// Done gives what was replied to a command.
	Done(ctx context.Context, id string) (Done, bool)
	Trouble() Trouble
}

// number gives the events of a batch their seq and tells the rest of the batch.
func (b *Batch) number(next uint64) uint64 {
	for i := range b.Events {
		b.Events[i].Seq = next
		next++
	}
	for i, k := range b.Alarms {
		if k.Event >= 0 && k.Event < len(b.Events) {
			b.Alarms[i].Shown.Seq = b.Events[k.Event].Seq
		}
	}
	for i, u := range b.Upkeep {
		if u.Event >= 0 && u.Event < len(b.Events) {
			b.Upkeep[i].Seq = b.Events[u.Event].Seq
		}
	}
	return next
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
	done    recentDone
}

// NewMemoryJournal keeps the newest limit events. publish says that somebody
// drains the outbox: then an event that falls off undelivered counts as dropped.
func NewMemoryJournal(limit int, publish bool) *MemoryJournal {
	return &MemoryJournal{limit: max(limit, 1), publish: publish, next: 1}
}

// Commit implements Journal.
func (j *MemoryJournal) Commit(_ context.Context, b *Batch) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.next = b.number(j.next)
	j.events = append(j.events, b.Events...)
	for _, d := range b.Done {
		j.done.add(d)
	}
	if over := len(j.events) - j.limit; over > 0 {
		for _, e := range j.events[:over] {
			if j.publish && e.Seq > j.deleted {
				j.dropped++
			}
		}
		j.events = append([]Event(nil), j.events[over:]...)
	}
}

// Retry implements Journal: nothing ever waits.
func (j *MemoryJournal) Retry(context.Context) {}

// Trouble implements Journal: there is none.
func (j *MemoryJournal) Trouble() Trouble { return Trouble{} }

// Done implements Journal; it remembers the newest commands.
func (j *MemoryJournal) Done(_ context.Context, id string) (Done, bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.done.find(id)
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

// Between gives up to limit events of a time, newest first; see Happened.
func (j *MemoryJournal) Between(_ context.Context, h Happened, limit int) ([]Event, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return h.pick(nil, j.events, limit), nil
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

// recentMost is how many done commands are remembered in memory.
const recentMost = 1000

// recentDone remembers the newest done commands.
type recentDone struct {
	byID  map[string]Done
	order []string
}

func (r *recentDone) add(d Done) {
	if r.byID == nil {
		r.byID = make(map[string]Done)
	}
	if _, known := r.byID[d.ID]; !known {
		r.order = append(r.order, d.ID)
	}
	r.byID[d.ID] = d
	if len(r.order) > recentMost {
		delete(r.byID, r.order[0])
		r.order = r.order[1:]
	}
}

func (r *recentDone) find(id string) (Done, bool) {
	d, found := r.byID[id]
	return d, found
}
