package agent

import (
	"context"
	"time"
)

// Happened asks for events by their wall time.
type Happened struct {
	Gland    string // empty: all
	From, To time.Time
}

func (h Happened) holds(e Event) bool {
	return (h.Gland == "" || h.Gland == e.Gland) && !e.Time.Before(h.From) && e.Time.Before(h.To)
}

// pick appends from events in order of seq those that are asked for, newest first.
func (h Happened) pick(out, events []Event, limit int) []Event {
	for i := len(events) - 1; i >= 0 && len(out) < limit; i-- {
		if h.holds(events[i]) {
			out = append(out, events[i])
		}
	}
	return out
}

// Between gives up to limit events of a time, newest first.
func (l *Ledger) Between(ctx context.Context, h Happened, limit int) ([]Event, error) {
	l.mu.Lock()
	waiting := l.waiting.Events
	l.mu.Unlock()
	out := h.pick(nil, waiting, limit)
	if len(out) == limit {
		return out, nil
	}
	stored, err := l.disk.Between(ctx, h, limit)
	if err != nil {
		return out, err
	}
	for _, e := range stored { // what moved to the disk meanwhile is in both
		if len(out) < limit && (len(waiting) == 0 || e.Seq < waiting[0].Seq) {
			out = append(out, e)
		}
	}
	return out, nil
}

// Sample is one step of a series of the history.
type Sample struct {
	Start          time.Time // UTC
	Min, Mean, Max float64
}
