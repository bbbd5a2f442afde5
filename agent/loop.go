package agent

import (
	"context"
	"errors"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors"
)

const (
	checkEvery   = time.Second // of real time: clock check, and a turn of the loop at the least
	publishParts = 4           // snapshots in a second at most, unless something happened
	turnParts    = 1000        // turns in a second without a reading
	turnMost     = 256         // readings taken in one turn
	// watchdog is how long a drip sensor may say nothing at all before it
	// counts as not answering: a live one speaks every sensors.WatchEvery.
	watchdog = 5 * sensors.WatchEvery / 2
)

// core is what the loop needs of rules.Station.
type core interface {
	Feed(r reading.Reading) ([]rules.Transition, error)
	Advance(at time.Duration) []rules.Transition
	Next() (time.Duration, bool)
	Gland(id string) (rules.GlandState, bool)
}

// loop is the one goroutine that touches the core.
type loop struct {
	agent   *Agent
	core    core
	journal Journal
	station string
	started time.Time

	hold, second time.Duration // in steady time

	buffer  reorder
	glands  []Gland
	byID    map[string]int
	heard   map[reading.Point]time.Duration // drip points only
	alarms  []Alarm
	alarmAt map[[2]string]int
	counts  map[TransitionKey]uint64
	faults  map[FaultKey]uint64

	unsaved     unsaved
	seq         uint64
	published   time.Duration
	dirty       bool
	counted     bool // alarms or counts changed since the last snapshot
	lastChecked time.Duration
	ahead       bool // a source stamped the future; the log has been told

	behind bool          // a source is bringing its past: the core must not run ahead of it
	cameAt time.Duration // when the last reading came
}

func newLoop(o Options, core core, a *Agent) *loop {
	l := &loop{
		agent: a, core: core, journal: o.Journal, station: o.Station,
		started: o.Clock.Wall(o.Clock.Steady()),
		byID:    make(map[string]int), heard: make(map[reading.Point]time.Duration),
		alarmAt: make(map[[2]string]int),
		hold:    o.Clock.steady(hold), second: o.Clock.steady(checkEvery),
		counts: make(map[TransitionKey]uint64), faults: make(map[FaultKey]uint64),
	}
	now := o.Clock.Steady()
	l.counted = true               // the first snapshot has it all
	l.behind, l.cameAt = true, now // until the first readings show what they are
	for i, g := range o.Glands {
		l.glands = append(l.glands, Gland{GlandInfo: g})
		l.byID[g.Rules.ID] = i
		if g.Rules.Fitted[reading.Drip] {
			l.heard[reading.Point{Gland: g.Rules.ID, Kind: reading.Drip}] = now
		}
		for c := range rules.Conditions {
			l.alarmAt[[2]string{g.Rules.ID, c.String()}] = len(l.alarms)
			l.alarms = append(l.alarms, Alarm{
				Gland: g.Rules.ID, Condition: c.String(), State: StateCleared, Priority: c.Priority().String(),
			})
		}
	}
	return l
}

func (l *loop) run(ctx context.Context) error {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case r := <-l.agent.queue.readings:
			l.take(r)
		case <-timer.C:
		case <-ctx.Done():
			return l.finish()
		}
		l.drain(turnMost)
		now := l.agent.clock.Steady()
		l.step(ctx, now)
		l.agent.turn.Store(int64(now))
		timer.Reset(l.agent.clock.real(l.wake(now) - now))
	}
}

// finish feeds what the sources, which have stopped, left behind.
func (l *loop) finish() error {
	l.drain(queueSize)
	now := l.agent.clock.Steady()
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	l.step(ctx, now+l.hold)
	l.publish(now)
	if len(l.unsaved.events) > 0 {
		return errors.New("journal: the newest events could not be stored")
	}
	return nil
}

func (l *loop) drain(most int) {
	for range most {
		select {
		case r := <-l.agent.queue.readings:
			l.take(r)
		default:
			return
		}
	}
}

func (l *loop) take(r reading.Reading) {
	now := l.agent.clock.Steady()
	l.cameAt, l.behind = now, r.At < now-l.second
	if r.At > now {
		if !l.ahead {
			l.ahead = true
			l.agent.log.Warn("a source stamps readings in the future; taken as of now",
				"point", r.Point.String(), "by", r.At-now)
		}
		r.At = now
	}
	l.buffer.push(r)
}

// step brings the core up to the hold before now.
func (l *loop) step(ctx context.Context, now time.Duration) {
	l.checkClock(now)
	upTo := now - l.hold
	var out []rules.Transition
	for {
		r, ok := l.buffer.pop(upTo)
		if !ok {
			break
		}
		out = append(out, l.feed(r)...)
	}
	if l.behind && now-l.cameAt > l.second {
		l.behind = false
	}
	if !l.behind {
		out = append(out, l.watch(upTo)...)
		out = append(out, l.core.Advance(upTo)...)
	}
	for _, t := range out {
		l.record(alarmEvent(l.agent.clock.Wall(t.At), t))
	}
	happened := l.save(ctx, now)
	if happened || now-l.published >= l.second || l.dirty && now-l.published >= l.second/publishParts {
		l.publish(now)
	}
}

func (l *loop) feed(r reading.Reading) []rules.Transition {
	out, err := l.core.Feed(r)
	if err != nil {
		l.agent.log.Error("reading refused", "point", r.Point.String(), "error", err)
		return nil
	}
	g := &l.glands[l.byID[r.Point.Gland]]
	p := &g.Points[r.Point.Kind]
	if !r.Quality.OK() && (!p.Seen || p.Quality != r.Quality) {
		l.counted = true
		l.faults[FaultKey{r.Point, r.Quality}]++
		l.agent.log.Warn("sensor reading is bad", "point", r.Point.String(), "quality", r.Quality.String())
	} else if r.Quality.OK() && p.Seen && !p.Quality.OK() {
		l.agent.log.Info("sensor reading is good again", "point", r.Point.String())
	}
	*p = PointState{Seen: true, Quality: r.Quality}
	g.Moved = l.agent.clock.Wall(r.At)
	if _, drip := l.heard[r.Point]; drip {
		l.heard[r.Point] = max(l.heard[r.Point], r.At)
	}
	l.dirty = true
	return out
}

// watch speaks for drip sensors that say nothing at all: their silence is no
// silence of drops.
func (l *loop) watch(at time.Duration) (out []rules.Transition) {
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
	step, stepped := l.agent.clock.Check()
	if !stepped {
		return
	}
	seconds := step.Seconds()
	e := Event{
		Time: stamp(l.agent.clock.Wall(now)), Kind: EventClock, StepS: number(seconds, true),
		Message: "The wall clock was set by " + step.Round(time.Second).String() + "; alarms run on elapsed time and are not touched.",
	}
	l.record(e)
	l.agent.log.Warn("wall clock was set", "step", step.Round(time.Millisecond), "now", e.Time)
}

// wake says when the loop must turn again though no reading comes.
func (l *loop) wake(now time.Duration) time.Duration {
	at := now + l.second
	if t, ok := l.buffer.earliest(); ok {
		at = min(at, t+l.hold)
	}
	if t, ok := l.core.Next(); ok && !l.behind {
		at = min(at, t+l.hold)
	}
	if l.dirty {
		at = min(at, l.published+l.second/publishParts)
	}
	return max(at, now+l.second/turnParts)
}
