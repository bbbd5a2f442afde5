package agent

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/reading"
)

// Reconfiguration is what a running agent takes over of a changed configuration.
type Reconfiguration struct {
	Station string
	Glands  []GlandInfo
	Feeds   []Feed
	Alarms  AlarmSettings
	Changes []Change // for the journal; none: the file says again what is in force
}

// ConfigState says how it stands with the configuration's file.
type ConfigState struct {
	Problem string    // why the file, as it is now, is not in force; empty: it is
	Since   time.Time // of Problem
}

// Trouble gives the state in the form that leaves the agent; nil: there is none.
func (c ConfigState) Trouble() *ConfigTrouble {
	if c.Problem == "" {
		return nil
	}
	return &ConfigTrouble{c.Problem, c.Since}
}

// errEnding is given to who asks a loop that ends.
var errEnding = errors.New("the agent is stopping")

// Reconfigure puts a changed configuration in force without a stop: glands keep
// what is known of them, sources that did not change go on reading, and the
// journal says what changed. After an error all is as before.
func (a *Agent) Reconfigure(ctx context.Context, c Reconfiguration) error {
	if err := rulesOf(c.Glands).Validate(); err != nil {
		return err
	}
	if _, err := alarm.NewBook(bookConfig(c.Glands, c.Alarms, a.clock)); err != nil {
		return err
	}
	a.swapping.Lock()
	defer a.swapping.Unlock()
	stopped, fresh := a.sources.split(c.Feeds)
	a.sources.stop(stopped)
	err := a.inLoop(ctx, func(l *loop, now time.Duration) error { return l.reconfigure(c, now) })
	if err != nil {
		return err
	}
	a.sources.start(fresh)
	a.tellLost(ctx, stopped, fresh)
	return nil
}

// tellLost says of drip sensors whose source was replaced that drops may have
// been missed.
func (a *Agent) tellLost(ctx context.Context, stopped []*liveFeed, fresh []Feed) {
	for _, old := range stopped {
		for _, p := range old.feed.Points {
			again := slices.ContainsFunc(fresh, func(f Feed) bool { return slices.Contains(f.Points, p) })
			if again && p.Kind == reading.Drip {
				a.queue.push(ctx, reading.Reading{At: a.clock.Steady(), Point: p, Quality: reading.Lost})
			}
		}
	}
}

// RefuseConfig says that a changed configuration is at fault and not in force.
func (a *Agent) RefuseConfig(ctx context.Context, problem string) error {
	return a.inLoop(ctx, func(l *loop, now time.Duration) error {
		l.refuseConfig(problem, now)
		return nil
	})
}

// inLoop has the loop do something between two turns and store what comes of it.
func (a *Agent) inLoop(ctx context.Context, do func(l *loop, now time.Duration) error) error {
	done := make(chan error, 1)
	select {
	case a.tasks <- func(ctx context.Context) { done <- a.loop.task(ctx, do) }:
	case <-a.ended:
		return errEnding
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-done:
		return err
	case <-a.ended:
		return errEnding
	}
}

func (l *loop) task(ctx context.Context, do func(l *loop, now time.Duration) error) error {
	now := l.gather()
	l.step(ctx, now) // what came before
	err := do(l, now)
	l.save(ctx, now)
	l.counted = true
	l.publish(now)
	return err
}

func (l *loop) refuseConfig(problem string, now time.Duration) {
	if l.config.Problem == problem {
		return
	}
	at := stamp(l.agent.clock.Wall(now))
	l.config = ConfigState{Problem: problem, Since: at}
	l.record(Event{Time: at, At: now, Kind: EventConfig, Message: "A changed configuration is at fault and not in force; the old one is. " + problem})
}

func (l *loop) reconfigure(c Reconfiguration, now time.Duration) error {
	at := now
	if l.behind {
		at = l.fed
	}
	out, err := l.core.Reconfigure(at, rulesOf(c.Glands))
	if err != nil {
		return err
	}
	l.config = ConfigState{}
	l.record(l.configEvent(c.Changes, now))
	l.station, l.settings = c.Station, c.Alarms
	l.takeGlands(c.Glands, now)
	l.takeBook(now)
	l.judgeAll(out)
	l.raiseWhatHolds(now)
	l.keepAll()
	return nil
}

func (l *loop) configEvent(changes []Change, now time.Duration) Event {
	e := Event{Time: stamp(l.agent.clock.Wall(now)), At: now, Kind: EventConfig, Changes: changes}
	switch len(changes) {
	case 0:
		e.Message = "The configuration is valid and says what is in force."
	case 1:
		e.Message = fmt.Sprintf("The configuration was changed: %s.", changes[0])
	default:
		e.Message = fmt.Sprintf("The configuration was changed in %d places: %s and others.", len(changes), changes[0])
	}
	return e
}

// String gives a change in words.
func (c Change) String() string {
	old, now := c.Old, c.New
	if old == "" {
		old = "not set"
	}
	if now == "" {
		now = "not set"
	}
	return fmt.Sprintf("%s %s → %s", c.Key, old, now)
}

// takeGlands takes the glands as configured; what is known of those that stay
// stays.
func (l *loop) takeGlands(glands []GlandInfo, now time.Duration) {
	before, index := l.glands, l.byID
	l.glands, l.byID = nil, make(map[string]int, len(glands))
	heard := make(map[reading.Point]time.Duration)
	var added []string
	for i, info := range glands {
		g := Gland{GlandInfo: info}
		j, known := index[info.Rules.ID]
		if known {
			g = before[j]
			g.GlandInfo = info
		} else {
			added = append(added, info.Rules.ID)
		}
		for kind, fitted := range info.Rules.Fitted {
			if !fitted {
				g.Points[kind] = PointState{}
			}
		}
		l.glands = append(l.glands, g)
		l.byID[info.Rules.ID] = i
		l.stale[info.Rules.ID] = true
		if info.Rules.Fitted[reading.Drip] {
			p := reading.Point{Gland: info.Rules.ID, Kind: reading.Drip}
			heard[p] = now
			if at, spoke := l.heard[p]; spoke {
				heard[p] = at
			}
		}
	}
	l.heard = heard
	for _, id := range added {
		if l.fed > 0 { // else the first row says it of all
			l.beginGland(id)
		}
	}
}

// takeBook gives the book the new glands, causes and policies. Alarms stay as
// they are; those of glands that are configured no more are taken leave of.
func (l *loop) takeBook(now time.Duration) {
	steps, unknown, err := l.book.Reconfigure(bookConfig(l.infos(), l.settings, l.agent.clock))
	if err != nil { // it was tried before
		l.agent.log.Error("alarms: the new configuration is refused", "error", err)
		return
	}
	shown, index := l.alarms, l.alarmAt
	l.alarms, l.alarmAt, l.causes = emptyAlarms(l.infos(), l.settings.References), make(map[alarm.Key]int), nil
	for i, a := range l.alarms {
		key := alarm.Key{Gland: a.Gland, Condition: a.Condition}
		l.alarmAt[key] = i
		if !l.isGland(a.Gland) {
			l.causes = append(l.causes, key)
		}
		if j, known := index[key]; known {
			l.alarms[i] = shown[j]
		}
	}
	for _, e := range unknown {
		delete(l.unproven, e.Key)
		if j, told := index[e.Key]; !told || !shown[j].Standing() {
			l.batch.Alarms = append(l.batch.Alarms, KeptAlarm{Entry: e, Event: -1, Forget: true})
			continue
		}
		l.forget(e, []KeptAlarm{{Entry: e, Shown: shown[index[e.Key]]}}, now)
	}
	l.take(steps, Command{})
	for k := range l.alarmAt {
		l.showMember(k)
	}
}

func (l *loop) infos() []GlandInfo {
	list := make([]GlandInfo, len(l.glands))
	for i, g := range l.glands {
		list[i] = g.GlandInfo
	}
	return list
}

// raiseWhatHolds is for members of a cause that is no more: their own alarms
// stand for them now.
func (l *loop) raiseWhatHolds(now time.Duration) {
	held := l.book.Active()
	for _, g := range l.glands {
		state, _ := l.core.Gland(g.Rules.ID)
		for _, a := range state.Alarms {
			k := alarm.Key{Gland: g.Rules.ID, Condition: a.Condition.String()}
			if !slices.Contains(held, k) {
				l.tell(alarm.Raw{At: now, Key: k, Active: true, Note: a.Message})
			}
		}
	}
}

func rulesOf(glands []GlandInfo) (cfg rules.Config) {
	for _, g := range glands {
		cfg.Glands = append(cfg.Glands, g.Rules)
	}
	return cfg
}
