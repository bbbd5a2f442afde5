package agent

import (
	"context"
	"errors"
	"time"

	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/reading"
	"weepd/rules/upkeep"
	"weepd/sensors"
)

const (
	checkEvery   = time.Second // of real time: clock check, and a turn of the loop at the least
	publishParts = 1           // snapshots in a second at most, unless something happened
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
	Calm() (until time.Duration, calm bool)
	Gland(id string) (rules.GlandState, bool)
	RunIn(gland string, repacked time.Duration) error
	Reconfigure(at time.Duration, cfg rules.Config) ([]rules.Transition, error)
	Record(gland string, e upkeep.Entry) ([]rules.Transition, error)
	Restore(gland string, entries []upkeep.Entry, weeps []upkeep.Bucket) error
	Upkeep(gland string) (*upkeep.State, bool)
	Entry(gland string, seq uint64) (upkeep.Entry, bool)
	DrawRunIn(gland string, past []upkeep.RunInPoint)
	NumberStep(gland string, at time.Duration, seq uint64)
	TakeFresh() []rules.Fresh
}

// loop is the one goroutine that touches the core.
type loop struct {
	agent   *Agent
	core    core
	journal Journal
	history *Recorder // may be nil
	station string
	config  ConfigState
	started time.Time

	second time.Duration // in steady time
	fed    time.Duration // the core's time: of the newest reading, or of Advance
	row    time.Duration // of the newest row of the history

	buffer reorder
	glands []Gland
	byID   map[string]int
	heard  map[reading.Point]time.Duration // drip points only
	counts map[TransitionKey]uint64
	faults map[FaultKey]uint64

	book     *alarm.Book
	settings AlarmSettings
	causes   []alarm.Key
	alarms   []Alarm
	alarmAt  map[alarm.Key]int
	proof    map[alarm.Key]rules.Transition // the newest of each
	active   map[alarm.Key]bool             // as it was counted
	unproven map[alarm.Key]bool             // active before the start, not found again yet
	beganAt  map[string]time.Duration       // since when each gland is watched, steady
	began    time.Duration
	lastLife time.Time // of the run before, while the clock is behind it

	batch       Batch
	rushed      int  // of its alarms, handed to a publisher
	happened    bool // alarms changed without an event
	noticed     int  // damaged files told of
	seq         uint64
	published   time.Duration
	dirty       bool
	counted     bool // alarms or counts changed since the last snapshot
	lastChecked time.Duration
	watched     time.Duration // the drip sensors that say nothing
	retried     time.Duration // the journal's store
	ahead       bool          // a source stamped the future; the log has been told

	stale  map[string]bool        // glands whose upkeep must be looked at again
	runIns map[string]UpkeepRunIn // the newest that is over, by gland
	late   *Remembered            // upkeep that waits for the clock

	behind bool          // a source is bringing its past: the core must not run ahead of it
	cameAt time.Duration // when the last reading came
	past   time.Duration // the last minute of it that the history has

	patience time.Duration // how long readings may lie while all is calm; 0: never
	resting  bool          // they may now: see beat.go
	urgent   bool          // something came that ends the rest
	looked   time.Duration // whether they may was looked at
	upTo     time.Duration // the last turn had all up to here
	overdue  *time.Timer   // of a source that does not hand over
}

func newLoop(o Options, core core, book *alarm.Book, a *Agent) *loop {
	now := o.Clock.Steady()
	l := &loop{
		agent: a, core: core, book: book, journal: o.Journal, history: o.History, station: o.Station, settings: o.Alarms,
		started: o.Clock.Wall(now), began: now,
		byID: make(map[string]int), heard: make(map[reading.Point]time.Duration),
		alarms: emptyAlarms(o.Glands, o.Alarms.References), alarmAt: make(map[alarm.Key]int),
		proof: make(map[alarm.Key]rules.Transition), active: make(map[alarm.Key]bool), unproven: make(map[alarm.Key]bool),
		beganAt: make(map[string]time.Duration),
		stale:   make(map[string]bool), runIns: make(map[string]UpkeepRunIn),
		second: o.Clock.steady(checkEvery),
		counts: make(map[TransitionKey]uint64), faults: make(map[FaultKey]uint64),
	}
	l.patience = longestPatience
	l.counted = true               // the first snapshot has it all
	l.behind, l.cameAt = true, now // until the first readings show what they are
	for i, g := range o.Glands {
		l.glands = append(l.glands, Gland{GlandInfo: g})
		l.byID[g.Rules.ID] = i
		l.stale[g.Rules.ID] = true
		if g.Rules.Fitted[reading.Drip] {
			l.heard[reading.Point{Gland: g.Rules.ID, Kind: reading.Drip}] = now
		}
	}
	for i, a := range l.alarms {
		key := alarm.Key{Gland: a.Gland, Condition: a.Condition}
		l.alarmAt[key] = i
		if !l.isGland(a.Gland) {
			l.causes = append(l.causes, key)
		}
	}
	l.restore(o.Remembered, now)
	for _, a := range l.alarms { // what was active before the start is no new transition
		l.active[alarm.Key{Gland: a.Gland, Condition: a.Condition}] = a.Active()
	}
	return l
}

func (l *loop) isGland(id string) bool {
	_, found := l.byID[id]
	return found
}

func (l *loop) run(ctx context.Context) error {
	timers := l.newTimers()
	defer timers.stop()
	for {
		select {
		case r := <-l.arrivals():
			l.accept(r)
		case <-l.agent.queue.urgent:
			l.urgent = true
		case asked := <-l.agent.requests:
			l.answer(ctx, asked)
		case task := <-l.agent.tasks:
			task(ctx)
		case <-timers.turn.C:
		case <-timers.beat.C():
		case <-ctx.Done():
			return l.finish()
		}
		now := l.gather()
		l.step(ctx, now)
		l.agent.turn.Store(int64(now))
		l.agent.turned()
		l.settleRest(now)
		timers.set(l, now)
	}
}

// finish feeds what the sources, which have stopped, left behind.
func (l *loop) finish() error {
	l.drain(queueSize)
	now := l.agent.clock.Steady()
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	l.batch.Stop = true
	l.step(ctx, now)
	l.markWatch(now)
	l.journal.Retry(ctx)
	l.publish(now)
	if t := l.journal.Trouble(); t.Waiting > 0 {
		return errors.New("the newest events could not be stored: " + t.Problem)
	}
	return nil
}

// answer carries out a command and replies when it is in the journal.
func (l *loop) answer(ctx context.Context, asked request) {
	now := l.gather()
	l.step(ctx, now) // what came before
	done, known := l.journal.Done(ctx, asked.command.ID)
	reply := l.carryOut(asked.command, done, known, now)
	if l.save(ctx, now) {
		l.publish(now)
	}
	asked.reply <- reply
}

// step brings the core up to now.
func (l *loop) step(ctx context.Context, now time.Duration) {
	l.checkClock(now)
	var out []rules.Transition
	for {
		r, ok := l.buffer.pop(now)
		if !ok {
			break
		}
		l.notePast(r.At)
		out = append(out, l.feed(r)...)
	}
	if len(out) > 0 { // a drop's alarm waits for nothing else
		l.judgeAll(out)
		l.rush()
		out = nil
	}
	if l.behind && now-l.cameAt > l.second {
		l.behind = false
	}
	if !l.behind {
		out = append(out, l.watch(now)...)
		out = append(out, l.advance(now)...)
	}
	l.judgeAll(out)
	if !l.behind {
		l.settle(now) // at its own time, which the book may not have passed
		l.take(l.book.Advance(now), Command{})
	}
	l.rush()
	l.takeFresh(now)
	if now-l.retried >= l.second {
		l.retried = now
		l.journal.Retry(ctx)
	}
	if len(l.batch.Alarms) > 0 { // states at once, events when stored: a slow card holds no alarm up
		l.counted = true
		l.publish(now)
	}
	happened := l.save(ctx, now)
	if happened || l.resting || now-l.published >= l.second || l.dirty && now-l.published >= l.second/publishParts {
		l.publish(now)
	}
}

// wake says when the loop must turn again though no reading comes.
func (l *loop) wake(now time.Duration) time.Duration {
	at := now + l.second
	if t, ok := l.buffer.earliest(); ok {
		at = min(at, t)
	}
	if t, ok := l.core.Next(); ok && !l.behind {
		at = min(at, t)
	}
	if t, ok := l.book.Next(); ok && !l.behind {
		at = min(at, t)
	}
	if t, ok := l.settlesNext(); ok && !l.behind {
		at = min(at, t)
	}
	if l.dirty {
		at = min(at, l.published+l.second/publishParts)
	}
	return max(at, now+l.second/turnParts)
}
