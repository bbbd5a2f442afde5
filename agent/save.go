package agent

import (
	"context"
	"maps"
	"slices"
	"time"
)

const saveMost = 4096 // events that wait for a journal that fails; it is tried each second

// unsaved are the events that the journal does not hold yet.
type unsaved struct {
	events  []Event
	failing bool
	tried   time.Duration // steady time of the last failed try
	shown   int           // of events, on the board already
	dropped uint64
}

// record takes note of an event: counts it, tells the log, queues it for the journal.
func (l *loop) record(e Event) {
	if e.Kind == EventAlarm {
		l.counted = true
		l.counts[TransitionKey{e.Gland, e.Condition, e.State}]++
		l.agent.log.Info("alarm "+e.State, "gland", e.Gland, "condition", e.Condition,
			"priority", e.Priority, "message", e.Message)
	}
	if len(l.unsaved.events) == saveMost {
		l.unsaved.events = l.unsaved.events[1:]
		l.unsaved.shown = max(l.unsaved.shown-1, 0)
		l.unsaved.dropped++
		if l.unsaved.dropped == 1 {
			l.agent.log.Error("the journal has failed for so long that the oldest unstored events are dropped", "waiting", saveMost)
		}
	}
	l.unsaved.events = append(l.unsaved.events, e)
}

// save commits what happened and shows it. While the journal fails, alarms are
// shown all the same and the commit is tried again. It reports whether there
// is anything new to show.
func (l *loop) save(ctx context.Context, now time.Duration) bool {
	u := &l.unsaved
	if len(u.events) == 0 || u.failing && now-u.tried < l.second {
		return l.showUnsaved()
	}
	stored, err := l.journal.Commit(ctx, u.events)
	if err != nil {
		if !u.failing {
			l.agent.log.Error("journal cannot store events; trying again, alarms go on", "error", err)
		}
		u.failing, u.tried = true, now
		return l.showUnsaved()
	}
	if u.failing {
		l.agent.log.Info("journal stores events again", "events", len(stored), "dropped", u.dropped)
	}
	u.failing, u.events, u.shown = false, nil, 0
	return l.show(stored)
}

func (l *loop) showUnsaved() bool {
	fresh := l.unsaved.events[l.unsaved.shown:]
	l.unsaved.shown = len(l.unsaved.events)
	return l.show(fresh)
}

// show brings the alarms on the board up to date with events.
func (l *loop) show(events []Event) (changed bool) {
	for _, e := range events {
		l.seq = max(l.seq, e.Seq)
		i, isAlarm := l.alarmAt[[2]string{e.Gland, e.Condition}]
		if !isAlarm {
			changed = changed || e.Seq > 0
			continue
		}
		l.alarms[i] = alarmOf(e)
		changed, l.counted = true, true
	}
	return changed
}

// publish shows the station as it stands. What did not change is shared with
// the snapshot before.
func (l *loop) publish(now time.Duration) {
	before := l.agent.board.Latest()
	s := &Snapshot{
		Station: l.station, Started: l.started, Time: l.agent.clock.Wall(now), Seq: l.seq,
		Unsaved: len(l.unsaved.events), UnsavedDropped: l.unsaved.dropped,
		Glands: slices.Clone(l.glands), Alarms: before.Alarms,
		Transitions: before.Transitions, Faults: before.Faults,
	}
	if l.counted {
		s.Alarms, s.Transitions, s.Faults = slices.Clone(l.alarms), maps.Clone(l.counts), maps.Clone(l.faults)
	}
	for i := range s.Glands {
		state, _ := l.core.Gland(s.Glands[i].Rules.ID)
		state.Alarms = slices.Clone(state.Alarms)
		s.Glands[i].State = state
	}
	l.published, l.dirty, l.counted = now, false, false
	l.agent.board.publish(s)
}
