package agent

import (
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// watch speaks for drip sensors that say nothing at all: their silence is no
// silence of drops.
func (l *loop) watch(at time.Duration) (out []rules.Transition) {
	if at-l.watched < l.second {
		return nil
	}
	l.watched = at
	for _, g := range l.glands {
		p := reading.Point{Gland: g.Rules.ID, Kind: reading.Drip}
		last, fitted := l.heard[p]
		if fitted && at-last > watchdog {
			out = append(out, l.feed(reading.Reading{At: at, Point: p, Quality: reading.NoAnswer})...)
		}
	}
	return out
}

func (l *loop) checkClock(now time.Duration) {
	if now-l.lastChecked < l.second {
		return
	}
	l.lastChecked = now
	l.tellNotices(now)
	before := Stamp{Wall: l.agent.clock.Wall(now), Steady: now}
	step, stepped := l.agent.clock.Check()
	if !stepped {
		return
	}
	if l.history != nil {
		l.history.ClockSet(before)
	}
	seconds := step.Seconds()
	e := Event{
		Time: stamp(l.agent.clock.Wall(now)), At: now, Kind: EventClock, StepS: number(seconds, true),
		Message: "The wall clock was set by " + step.Round(time.Second).String() + "; alarms run on elapsed time and are not touched.",
	}
	at := len(l.batch.Events)
	l.record(e)
	l.batch.Events[at].Message += l.accountForTimeOff(now)
	l.showUntils()
	for id := range l.byID { // past times show by the new clock
		l.stale[id] = true
	}
	l.agent.log.Warn("wall clock was set", "step", step.Round(time.Millisecond), "now", e.Time)
}
