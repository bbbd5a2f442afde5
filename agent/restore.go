package agent

import (
	"fmt"
	"time"

	"weepd/rules/alarm"
)

// Remembered is what a store holds of the run before.
type Remembered struct {
	Alarms  []KeptAlarm
	Last    *Stamp   // the newest sign of life; nil: there was no run before
	Stopped bool     // it was stopped by order
	Upkeep  []Upkeep // the log of what was done, oldest first
	// Weeps is the weep of each gland for its upkeep, oldest first.
	Weeps map[string][]KeptWeep
	// Minutes are those since the newest repacking of each gland, where that is not
	// long ago: the curve of its run-in so far.
	Minutes map[string][]KeptMinute
}

// restore puts the alarms as they were, lets the time off pass and says that
// there was some. Nothing is raised by it: what the rules find true again
// repeats what is known.
func (l *loop) restore(m Remembered, now time.Duration) {
	l.tellNotices(now)
	l.restoreUpkeep(m, now)
	if m.Last == nil {
		return
	}
	clock := l.agent.clock
	off := clock.Wall(now).Sub(m.Last.Wall)
	if off < 0 { // the clock is behind the last run: how long it was is not known yet
		off, l.lastLife = 0, m.Last.Wall
	}
	var entries []alarm.Entry
	for _, k := range m.Alarms {
		entries = append(entries, k.Entry)
		if i, known := l.alarmAt[k.Key]; known {
			priority := l.alarms[i].Priority
			l.alarms[i] = k.Shown
			l.alarms[i].Priority = priority
		}
	}
	l.record(l.downEvent(*m.Last, off, m.Stopped, now))
	steps, unknown := l.book.Restore(entries)
	l.book.Shift(now - m.Last.Steady - clock.steady(off))
	for i := range steps {
		steps[i].At = now
	}
	l.take(steps, Command{})
	for _, e := range unknown {
		l.forget(e, m.Alarms, now)
	}
	l.take(l.book.Advance(now), Command{})
	l.showUntils()
	l.keepAll()
	for k := range l.alarmAt {
		l.showMember(k)
	}
	for _, k := range l.book.Active() {
		l.unproven[k] = true
	}
}

func (l *loop) downEvent(last Stamp, off time.Duration, stopped bool, now time.Duration) Event {
	from := stamp(last.Wall)
	e := Event{Time: stamp(l.agent.clock.Wall(now)), At: now, Kind: EventDown, From: &from}
	how := "It ended without being stopped: power cut, crash or kill."
	if stopped {
		how = "It was stopped by order."
	}
	if !l.lastLife.IsZero() {
		e.Message = fmt.Sprintf("The agent was down from %s; for how long is not known, as the clock is behind that time. %s", utc(from), how)
		return e
	}
	to := e.Time
	e.To = &to
	e.Message = fmt.Sprintf("The agent was down from %s to %s (%s). %s", utc(from), utc(to), off.Round(time.Second), how)
	return e
}

func utc(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }

// accountForTimeOff lets the time off pass once a clock that was behind has
// been set, and gives the words for the event.
func (l *loop) accountForTimeOff(now time.Duration) string {
	if l.lastLife.IsZero() {
		return ""
	}
	clock := l.agent.clock
	started := clock.Wall(l.began)
	off := started.Sub(l.lastLife)
	if off < 0 {
		return ""
	}
	l.lastLife = time.Time{}
	if l.late != nil {
		l.restoreUpkeep(*l.late, now)
	}
	l.book.Missed(clock.steady(off), l.began)
	l.take(l.book.Advance(now), Command{})
	l.showUntils()
	l.keepAll()
	return fmt.Sprintf(" The agent had been down for %s before its start at %s.", off.Round(time.Second), utc(started))
}

// keepAll stores every alarm again: their steady times have moved.
func (l *loop) keepAll() {
	for _, e := range l.book.Entries() {
		if i, known := l.alarmAt[e.Key]; known {
			l.batch.Alarms = append(l.batch.Alarms, KeptAlarm{Entry: e, Shown: l.alarms[i], Event: -1})
		}
	}
}

// forget takes leave of an alarm whose gland is configured no more: it is
// shown as cleared once, so that what is retained of it does not stay active.
func (l *loop) forget(e alarm.Entry, kept []KeptAlarm, now time.Duration) {
	gone := Alarm{Gland: e.Gland, Condition: e.Condition}
	for _, k := range kept {
		if k.Key == e.Key {
			gone = k.Shown
		}
	}
	at := stamp(l.agent.clock.Wall(now))
	ev := Event{
		Time: at, At: now, Kind: EventAlarm, Gland: e.Gland, Condition: e.Condition, State: StateCleared, Priority: gone.Priority,
		AlarmState: alarm.Normal.String(), Was: e.Alarm.State.String(),
		Message: "Not configured any more; its alarm is forgotten.",
	}
	gone.State, gone.AlarmState, gone.Acknowledged, gone.Changed, gone.Message = StateCleared, ev.AlarmState, false, &at, ev.Message
	gone.Until, gone.By, gone.Note, gone.Cause, gone.Members = nil, "", "", "", nil
	l.alarmAt[e.Key] = len(l.alarms)
	l.alarms = append(l.alarms, gone)
	l.batch.Alarms = append(l.batch.Alarms, KeptAlarm{Entry: e, Shown: gone, Event: len(l.batch.Events), Forget: true})
	l.record(ev)
}

// settle clears what was active before the start and was not found true again
// in the time that the rules need.
func (l *loop) settle(at time.Duration) {
	if len(l.unproven) == 0 {
		return
	}
	for _, k := range l.book.Active() {
		if !l.unproven[k] {
			continue
		}
		if l.holds(k) {
			delete(l.unproven, k)
		} else if due := l.beganAt[k.Gland] + l.settling(k); l.fed > 0 && at >= due {
			delete(l.unproven, k)
			l.tell(alarm.Raw{At: due, Key: k, Note: fmt.Sprintf(
				"It was active before the agent's start and was not found again within %s.", l.settling(k).Round(time.Second))})
		}
	}
}

// holds reports whether the rules find a condition true.
func (l *loop) holds(k alarm.Key) bool {
	g, _ := l.core.Gland(k.Gland)
	for _, a := range g.Alarms {
		if a.Condition.String() == k.Condition {
			return true
		}
	}
	return false
}

// settling is how long the rules may take: a gland's own delays come on top.
func (l *loop) settling(k alarm.Key) time.Duration {
	timing := l.glands[l.byID[k.Gland]].Rules.Timing
	timing.Settle = l.settings.Settle
	return timing.Settling()
}

// settlesNext is when the first alarm that was not found again clears.
func (l *loop) settlesNext() (at time.Duration, ok bool) {
	for k := range l.unproven {
		if due := l.beganAt[k.Gland] + l.settling(k); l.fed > 0 && (!ok || due < at) {
			at, ok = due, true
		}
	}
	return at, ok
}
