package agent

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"weepd/rules"
	"weepd/rules/alarm"
)

func (l *loop) judgeAll(list []rules.Transition) {
	for _, t := range list {
		l.judge(t)
	}
}

// judge hands what the rules say to the book.
func (l *loop) judge(t rules.Transition) {
	key := alarm.Key{Gland: t.Gland, Condition: t.Condition.String()}
	l.proof[key] = t
	l.tell(alarm.Raw{At: t.At, Key: key, Active: t.Active, Note: t.Message})
}

func (l *loop) tell(r alarm.Raw) {
	steps, err := l.book.Feed(r)
	l.take(steps, Command{})
	if err != nil {
		l.agent.log.Error("the rules name an alarm that is not configured", "alarm", r.Key.String(), "error", err)
	}
	l.showMember(r.Key)
}

// take makes events of the book's steps. by is the command behind them, if any.
func (l *loop) take(steps []alarm.Step, by Command) {
	for _, s := range steps {
		e := l.stepEvent(s)
		if s.By != "" && s.By == by.By {
			e.Command = by.ID
		}
		i, known := l.alarmAt[s.Key]
		if !known {
			continue
		}
		members := l.alarms[i].Members
		l.alarms[i] = shownAfter(l.alarms[i], s, e)
		entry, _ := l.book.Entry(s.Key)
		l.batch.Alarms = append(l.batch.Alarms, KeptAlarm{Entry: entry, Shown: l.alarms[i], Event: len(l.batch.Events)})
		l.record(e)
		for _, name := range append(members, l.alarms[i].Members...) {
			l.showMember(parseKey(name))
		}
	}
}

func (l *loop) stepEvent(s alarm.Step) Event {
	e := Event{
		Time: stamp(l.agent.clock.Wall(s.At)), At: s.At, Kind: EventAlarm, Gland: s.Key.Gland, Condition: s.Key.Condition,
		State: stateWord(s.Active), AlarmState: s.New.String(), Acknowledged: s.New.Acked(), Was: s.Old.String(),
		Until: l.wallOf(s.Until), Members: names(s.Members), By: s.By,
	}
	if c, known := rules.ParseCondition(s.Key.Condition); known {
		e.Priority = c.Priority().String()
	}
	if s.By != "" {
		e.Note = s.Note
		e.Message = fmt.Sprintf("%s by %s%s.", deed(s.New, s.Old), s.By, untilWords(e.Until))
		return e
	}
	e.Message = sentence(s.Note)
	if s.Old == alarm.Shelved && s.Active { // it annunciates again: with what it was raised by
		if i, known := l.alarmAt[s.Key]; known {
			shown := l.alarms[i]
			e.DPM, e.RiseC = shown.DPM, shown.RiseC
			e.Message += " " + strings.TrimPrefix(shown.Message, e.Message+" ")
		}
		return e
	}
	if t, proven := l.proof[s.Key]; proven && t.Active == s.Active {
		e.DPM, e.DPMLow, e.DPMHigh = number(t.Weep.DPM, t.Weep.Known), number(t.Weep.LowDPM, t.Weep.Known), number(t.Weep.HighDPM, t.Weep.Known)
		e.RiseC = number(t.Rise.Value, t.Rise.Known)
	}
	return e
}

// deed says in a word what a person did.
func deed(to, from alarm.State) string {
	switch {
	case to == alarm.Shelved:
		return "Shelved"
	case to == alarm.OutOfService:
		return "Taken out of service"
	case from == alarm.Shelved:
		return "Shelf ended"
	case from == alarm.OutOfService:
		return "Put back in service"
	case from == alarm.LatchedAcknowledged:
		return "Reset"
	default:
		return "Acknowledged"
	}
}

func untilWords(until *time.Time) string {
	if until == nil {
		return ""
	}
	return " until " + until.Format("2006-01-02 15:04 UTC")
}

func sentence(text string) string {
	if text == "" || strings.HasSuffix(text, ".") {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// shownAfter is how an alarm shows after a step.
func shownAfter(a Alarm, s alarm.Step, e Event) Alarm {
	at := e.Time
	if s.Old != s.New || a.Changed == nil {
		a.Changed, a.By, a.Note = &at, s.By, e.Note
	}
	if a.State != e.State {
		a.Since = &at
	}
	if s.By == "" && (a.State != e.State || s.Old != s.New) {
		a.DPM, a.RiseC, a.Message = e.DPM, e.RiseC, e.Message
	}
	a.State, a.AlarmState, a.Acknowledged, a.Until, a.Members = e.State, e.AlarmState, e.Acknowledged, e.Until, e.Members
	return a
}

// showMember brings an alarm up to date for which a shared cause stands.
func (l *loop) showMember(k alarm.Key) {
	i, known := l.alarmAt[k]
	if !known {
		return
	}
	a := &l.alarms[i]
	cause := ""
	for _, c := range l.causes {
		if j := l.alarmAt[c]; slices.Contains(l.alarms[j].Members, k.String()) {
			cause = c.String()
		}
	}
	own, _ := l.book.Alarm(k)
	state := stateWord(own.Active || cause != "")
	if a.Cause == cause && a.State == state {
		return
	}
	if t, proven := l.proof[k]; proven && a.State != state {
		at := stamp(l.agent.clock.Wall(t.At))
		a.Since, a.Message = &at, t.Message
		a.DPM, a.RiseC = number(t.Weep.DPM, t.Weep.Known), number(t.Rise.Value, t.Rise.Known)
	}
	a.Cause, a.State = cause, state
	l.counted, l.happened = true, true
}

// showUntils brings the shelves' ends up to date with the wall clock.
func (l *loop) showUntils() {
	for i := range l.alarms {
		a := &l.alarms[i]
		if entry, _ := l.book.Alarm(alarm.Key{Gland: a.Gland, Condition: a.Condition}); entry.State == alarm.Shelved {
			a.Until = l.wallOf(entry.Until)
			l.counted, l.happened = true, true
		}
	}
}

func (l *loop) wallOf(at time.Duration) *time.Time {
	if at == 0 {
		return nil
	}
	wall := stamp(l.agent.clock.Wall(at))
	return &wall
}

func stateWord(active bool) string {
	if active {
		return StateActive
	}
	return StateCleared
}

func names(keys []alarm.Key) []string {
	var list []string
	for _, k := range keys {
		list = append(list, k.String())
	}
	return list
}

// parseKey is the inverse of alarm.Key.String; no gland's id has a slash.
func parseKey(name string) alarm.Key {
	gland, condition, _ := strings.Cut(name, "/")
	return alarm.Key{Gland: gland, Condition: condition}
}
