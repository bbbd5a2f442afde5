package agent

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"weepd/agent/config"
	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/reading"
)

// AlarmSettings are the alarms' settings of a station.
type AlarmSettings struct {
	LongestShelf time.Duration // 0: alarms may not be shelved
	Latched      []string      // conditions whose alarms stay until a person resets them
	// Settle is how long the rules may take after a start to find again what
	// was active before it; what they do not find clears.
	Settle time.Duration
	// References are groups of glands with one reference sensor.
	References [][]string
}

// Shared causes have a dot in their id, which no gland's has.
const (
	causeSupply    = "shared.supply"
	causeReference = "shared.reference"

	// causeHold is how long a sensor's fault waits for the same of other
	// glands: sensors that are polled do not fail at the same instant.
	causeHold = 10 * time.Second
	// supplyLeast glands whose sensors fail within causeHold are no chance.
	supplyLeast = 3
)

// AlarmSettingsOf gives the alarms' settings of a configuration.
func AlarmSettingsOf(cfg *config.Config) AlarmSettings {
	return AlarmSettings{
		LongestShelf: cfg.Alarms.LongestShelf, Latched: cfg.Alarms.Latched, Settle: cfg.Alarms.Settle,
		References: sharedReferences(cfg.Glands),
	}
}

// sharedReferences groups the glands whose ref has the same source.
func sharedReferences(glands []config.Gland) (groups [][]string) {
	var sources []*config.Source
	for _, g := range glands {
		ref := g.Sensors[reading.Ref]
		if ref == nil {
			continue
		}
		i := slices.IndexFunc(sources, func(s *config.Source) bool { return reflect.DeepEqual(s, ref) })
		if i < 0 {
			i = len(sources)
			sources, groups = append(sources, ref), append(groups, nil)
		}
		groups[i] = append(groups[i], g.ID)
	}
	return slices.DeleteFunc(groups, func(ids []string) bool { return len(ids) < 2 })
}

// newBook makes the book of a station.
//
// Nothing is suppressed by design here: the rules themselves take `dry` back
// while the shaft is at rest, and a `dry` that was raised before the stop must
// stay on the operator's list until somebody has seen it, which suppression
// would undo.
func newBook(glands []GlandInfo, s AlarmSettings, clock *Clock) (*alarm.Book, error) {
	cfg := alarm.Config{
		Policies: make(map[string]alarm.Policy), Hold: clock.steady(causeHold), Causes: causes(glands, s.References),
	}
	for _, g := range glands {
		cfg.Glands = append(cfg.Glands, g.Rules.ID)
	}
	for c := range rules.Conditions {
		cfg.Policies[c.String()] = alarm.Policy{
			Latching: slices.Contains(s.Latched, c.String()), LongestShelf: clock.steady(s.LongestShelf),
		}
	}
	return alarm.NewBook(cfg)
}

// causes gives what glands share whose loss would be a flood of alarms: their
// reference sensors, and the supply of all sensors.
func causes(glands []GlandInfo, references [][]string) []alarm.Cause {
	temp, drip := rules.TempSensor.String(), rules.DripSensor.String()
	var list []alarm.Cause
	for i, group := range references {
		id := causeReference
		if i > 0 {
			id += fmt.Sprintf("-%d", i+1)
		}
		list = append(list, alarm.Cause{
			ID: id, As: temp, Conditions: []string{temp}, Glands: group, Least: max(2, len(group)-1),
		})
	}
	var watched []string
	for _, g := range glands {
		if g.Rules.Fitted[reading.Drip] || g.Rules.Fitted[reading.Temp] {
			watched = append(watched, g.Rules.ID)
		}
	}
	if len(watched) < 2 {
		return list
	}
	return append(list, alarm.Cause{
		ID: causeSupply, As: drip, Conditions: []string{temp, drip}, Glands: watched, Least: min(supplyLeast, len(watched)),
	})
}

// emptyAlarms lists every alarm that may be: glands in order, urgent
// conditions first, then the shared causes.
func emptyAlarms(glands []GlandInfo, references [][]string) []Alarm {
	var list []Alarm
	add := func(gland string, c rules.Condition) {
		list = append(list, Alarm{
			Gland: gland, Condition: c.String(), State: StateCleared, Priority: c.Priority().String(),
			AlarmState: alarm.Normal.String(),
		})
	}
	for _, g := range glands {
		for c := range rules.Conditions {
			add(g.Rules.ID, c)
		}
	}
	for _, cause := range causes(glands, references) {
		if c, known := rules.ParseCondition(cause.As); known {
			add(cause.ID, c)
		}
	}
	return list
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
