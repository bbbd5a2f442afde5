package agent

import (
	"context"
	"maps"
	"slices"
	"time"

	"weepd/rules/alarm"
)

// record takes note of an event: counts it, puts it in the batch.
func (l *loop) record(e Event) {
	if e.Kind == EventAlarm {
		l.count(e)
	}
	l.batch.Events = append(l.batch.Events, e)
}

// tellLog is not part of record: writing to the log takes longer than sending an
// alarm.
func (l *loop) tellLog(e Event) {
	switch e.Kind {
	case EventAlarm:
		args := []any{"gland", e.Gland, "condition", e.Condition, "state", e.State, "alarm_state", e.AlarmState}
		if e.By != "" {
			args = append(args, "by", e.By)
		}
		l.agent.log.Info("alarm", append(args, "priority", e.Priority, "message", e.Message)...)
	case EventDown:
		l.agent.log.Info(e.Message)
	case EventConfig:
		for _, c := range e.Changes {
			l.agent.log.Info("configuration changed", "key", c.Key, "old", c.Old, "new", c.New)
		}
	}
}

// count counts the changes of the process condition, not what people do.
func (l *loop) count(e Event) {
	key := alarm.Key{Gland: e.Gland, Condition: e.Condition}
	if l.active[key] == (e.State == StateActive) {
		return
	}
	l.active[key] = e.State == StateActive
	l.counts[TransitionKey{e.Gland, e.Condition, e.State}]++
}

// save commits what happened, before anybody is shown it. It reports whether
// there is anything new to show.
func (l *loop) save(ctx context.Context, now time.Duration) (happened bool) {
	if !l.batch.Empty() {
		for _, e := range l.batch.Events {
			l.tellLog(e)
		}
		l.batch.At = Stamp{Wall: l.agent.clock.Wall(now), Steady: now}
		l.journal.Commit(ctx, &l.batch)
		for _, e := range l.batch.Events {
			l.seq = max(l.seq, e.Seq)
		}
		for _, k := range l.batch.Alarms {
			if i, known := l.alarmAt[k.Key]; known && k.Event >= 0 {
				l.alarms[i].Seq = k.Shown.Seq
			}
		}
		happened = len(l.batch.Events) > 0
		l.counted = l.counted || happened
		entries := l.batch.Upkeep
		l.batch, l.rushed = Batch{}, 0
		l.tellCore(entries)
	}
	happened = happened || l.happened
	l.happened = false
	return happened
}

// tellNotices makes events of damaged files that the store has set aside.
func (l *loop) tellNotices(now time.Duration) {
	notices := l.journal.Trouble().Notices
	for _, text := range notices[min(l.noticed, len(notices)):] {
		l.agent.log.Error("store: " + text)
		l.record(Event{Time: stamp(l.agent.clock.Wall(now)), At: now, Kind: EventStore, Message: sentence(text)})
	}
	l.noticed = max(l.noticed, len(notices))
}

// publish shows the station as it stands. What did not change is shared with
// the snapshot before.
func (l *loop) publish(now time.Duration) {
	l.showUpkeep(now)
	before := l.agent.board.Latest()
	s := &Snapshot{
		Station: l.station, Started: l.started, Time: l.agent.clock.Wall(now), Seq: l.seq,
		Store: l.journal.Trouble(), Config: l.config, Glands: slices.Clone(l.glands), Alarms: before.Alarms,
		Transitions: before.Transitions, Faults: before.Faults,
	}
	if l.counted {
		s.Alarms, s.Transitions, s.Faults = slices.Clone(l.alarms), maps.Clone(l.counts), maps.Clone(l.faults)
	}
	for i := range s.Glands {
		state, _ := l.core.Gland(s.Glands[i].Rules.ID)
		state.Alarms = slices.Clone(state.Alarms)
		s.Glands[i].State = state
		for k := range s.Glands[i].Points {
			p := &s.Glands[i].Points[k]
			p.Age = max(l.agent.clock.real(now-p.at), 0)
		}
	}
	l.published, l.dirty, l.counted = now, false, false
	l.agent.board.publish(s)
}
