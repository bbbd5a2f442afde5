package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"weepd/agent"
	"weepd/rules/reading"
)

// ErrNoEvent says that an export was asked around an event that is not kept.
var ErrNoEvent = errors.New("no such event is kept")

// Export hands the rows of the history that are asked for to do, in the order in
// which the core was told, of all glands: which are wanted is the caller's. What
// waits for Flush is not among them. A replay of a run from its start says what
// the agent said; the notes tell where it may not.
func (s *Store) Export(ctx context.Context, q agent.ExportRequest, do func(agent.ExportRow) error) (agent.Exported, error) {
	var done agent.Exported
	runs, err := s.history.runs(ctx)
	if err != nil {
		return done, err
	}
	if q.Around > 0 {
		if q.From, q.To, err = s.around(ctx, runs, q); err != nil {
			return done, err
		}
	}
	for i := range runs {
		r := &runs[i]
		first, last := r.first()-slack, r.last
		cut := !q.From.IsZero() && q.From.UnixNano() > first+r.shown
		if !q.To.IsZero() {
			last = min(last, q.To.UnixNano()-r.shown-1)
		}
		if cut {
			if q.From.UnixNano() > r.last+r.shown {
				continue
			}
			if !q.Whole {
				first = q.From.UnixNano() - r.shown
			}
		}
		if first > last {
			continue
		}
		done.Notes = append(done.Notes, notesOf(r, cut && !q.Whole)...)
		err := s.history.inOrder(ctx, r, first, last, func(one reading.Reading) error {
			row := agent.ExportRow{Reading: one, Time: r.wall(int64(one.At))}
			if done.Rows++; done.Rows == 1 {
				done.From = row.Time
			}
			done.To = row.Time
			return do(row)
		})
		if err != nil {
			return done, err
		}
	}
	notes, err := s.eventNotes(ctx, done)
	done.Notes = append(done.Notes, notes...)
	return done, err
}

func notesOf(r *run, cut bool) (notes []string) {
	const unlearned = "a replay knows nothing of before, so it may say other things at first, or at other times, than the agent did"
	switch {
	case cut && r.whole:
		notes = append(notes, fmt.Sprintf("it begins in the midst of the agent's run of %s: %s; --whole begins at that start", short(r.wall(r.first())), unlearned))
	case cut, !r.whole:
		notes = append(notes, fmt.Sprintf("it begins in the midst of a run of the agent whose start is not kept any more: %s", unlearned))
	}
	if r.moved > 0 {
		notes = append(notes, fmt.Sprintf("the agent's run of %s has its times moved on by %s: its clock was behind the end of the run before",
			short(r.wall(r.first())), r.moved.Round(time.Second)))
	}
	return notes
}

// around gives the stretch about an event, in the times of a recording.
func (s *Store) around(ctx context.Context, runs []run, q agent.ExportRequest) (from, to time.Time, err error) {
	list, err := s.Events(ctx, int64(q.Around)-1, 1)
	if err != nil {
		return from, to, err
	}
	if len(list) == 0 || list[0].Seq != int64(q.Around) {
		return from, to, fmt.Errorf("event %d: %w; the newest is %d", q.Around, ErrNoEvent, s.LastSeq())
	}
	e := list[0]
	best := time.Duration(1<<63 - 1)
	for i := range runs { // the run whose clocks are nearest to the event's: a 1970 may have come more than once
		r := &runs[i]
		at := r.wall(int64(e.Steady))
		inside := int64(e.Steady) >= r.first()-int64(q.After) && int64(e.Steady) <= r.last+int64(q.Before)
		if off := at.Sub(e.Wall).Abs(); inside && off < best {
			best, from, to = off, at.Add(-q.Before), at.Add(q.After)
		}
	}
	if from.IsZero() {
		return from, to, fmt.Errorf("event %d of %s: no readings of that time are kept", q.Around, short(e.Wall))
	}
	return from, to, nil
}

// eventNotes tells of changed limits within what was exported.
func (s *Store) eventNotes(ctx context.Context, done agent.Exported) (notes []string, err error) {
	if done.Rows == 0 {
		return []string{"nothing of that time is kept"}, nil
	}
	const part = 500
	for after := int64(0); ; {
		rows, err := s.Events(ctx, after, part)
		if err != nil {
			return notes, err
		}
		events, err := eventsOf(rows)
		if err != nil {
			return notes, err
		}
		for _, e := range events {
			after = int64(e.Seq)
			if e.Kind == agent.EventConfig && len(e.Changes) > 0 && e.Time.After(done.From) && e.Time.Before(done.To) {
				notes = append(notes, fmt.Sprintf("the configuration changed at %s (event %d): no one configuration replays all of it", short(e.Time), e.Seq))
			}
		}
		if len(rows) < part {
			return notes, nil
		}
	}
}

func short(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }

// Export gives the history of an open store: see Store.Export.
func (k *Keeper) Export(ctx context.Context, q agent.ExportRequest, do func(agent.ExportRow) error) (agent.Exported, error) {
	k.mu.RLock()
	s, why := k.store, k.why
	k.mu.RUnlock()
	if s == nil {
		return agent.Exported{}, fmt.Errorf("the store cannot be read at present: %w", why)
	}
	return s.Export(ctx, q, do)
}
