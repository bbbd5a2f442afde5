package agent

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/rules/upkeep"
)

// History keeps the readings. Its calls may take as long as a slow card does.
type History interface {
	AddReadings(list ...reading.Reading)
	Observe(series string, wall time.Time, v float64)
	Flush(ctx context.Context, now Stamp) error
	FlushAll(ctx context.Context, now Stamp) error
	Maintain(ctx context.Context, now Stamp) error
	Heartbeat(now Stamp) error
}

// Rhythm of the recorder, in real time. What was not flushed is lost with the
// process; the card lives the longer the rarer it is.
const (
	observeEvery   = time.Second     // at the most; a snapshot is the occasion
	unobserved     = 5 * time.Second // without a snapshot the rest goes on all the same
	heartbeatEvery = time.Minute
	flushEvery     = 5 * time.Minute
	maintainEvery  = time.Hour
	lastFlush      = 2 * time.Second // at the stop

	handedMost = 100_000 // readings that wait for a history that hangs
	pastMost   = 20_000  // minutes of glands; a demonstration's past is far less
)

// Recorder writes the history on a goroutine of its own, so that a slow card
// never holds the loop up.
type Recorder struct {
	history History
	clock   *Clock
	log     *slog.Logger
	dropped atomic.Uint64
	failing bool
	looked  time.Time // the newest snapshot that was observed
	syncs   chan chan error
	names   map[string]*seriesOf // of the glands that were observed

	mu    sync.Mutex
	parts []part
	count int
	past  []pastState
	weeps []freshWeep
}

// part is readings between two steps of the wall clock.
type part struct {
	readings []reading.Reading
	closed   bool // the clock was set after it
	end      Stamp
}

// NewRecorder makes a recorder; Service runs it.
func NewRecorder(history History, clock *Clock, log *slog.Logger) *Recorder {
	return &Recorder{history: history, clock: clock, log: log, syncs: make(chan chan error), names: make(map[string]*seriesOf)}
}

// Add hands a reading over. It never waits: beyond a bound, readings are
// dropped and counted.
func (r *Recorder) Add(one reading.Reading) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.count >= handedMost {
		r.dropped.Add(1)
		return
	}
	if n := len(r.parts); n == 0 || r.parts[n-1].closed {
		r.parts = append(r.parts, part{})
	}
	last := &r.parts[len(r.parts)-1]
	last.readings = append(last.readings, one)
	r.count++
}

// ClockSet says that the wall clock was set; before is the moment as the old
// setting had it.
func (r *Recorder) ClockSet(before Stamp) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if n := len(r.parts); n == 0 || r.parts[n-1].closed {
		r.parts = append(r.parts, part{})
	}
	last := &r.parts[len(r.parts)-1]
	last.closed, last.end = true, before
}

// Dropped counts the readings that were lost to the history.
func (r *Recorder) Dropped() uint64 { return r.dropped.Load() }

// Service gives the recorder's own part of the agent. It must be started
// before the agent's services, so that it stops after them.
func (r *Recorder) Service(board *Board) Service {
	return Service{Name: "recorder", Run: func(ctx context.Context) error { return r.run(ctx, board) }}
}

func (r *Recorder) run(ctx context.Context, board *Board) error {
	idle := time.NewTimer(unobserved)
	defer idle.Stop()
	begun := time.Now()
	observed := begun
	due := map[string]time.Time{"heartbeat": begun, "flush": begun.Add(flushEvery), "maintain": begun.Add(maintainEvery / 60)}
	turn := func(what string, every time.Duration, do func() error) {
		if now := time.Now(); !now.Before(due[what]) {
			due[what] = now.Add(every)
			r.report(what, do())
		}
	}
	for {
		changed := board.Changed()
		select {
		case <-ctx.Done():
			return r.stop(ctx)
		case done := <-r.syncs:
			r.handOver(ctx)
			done <- r.history.Flush(ctx, r.now())
			continue
		case <-changed: // right after the loop, so that one waking does for both
			if time.Since(observed) < observeEvery*7/8 {
				continue
			}
		case <-idle.C:
		}
		observed = time.Now()
		idle.Reset(unobserved)
		r.handOver(ctx)
		r.observe(board.Latest())
		turn("heartbeat", heartbeatEvery, func() error { return r.history.Heartbeat(r.now()) })
		turn("flush", flushEvery, func() error { return r.history.Flush(ctx, r.now()) })
		turn("maintain", maintainEvery, func() error { return r.history.Maintain(ctx, r.now()) })
	}
}

// Sync has the recorder write what came so far, for one who reads the history.
func (r *Recorder) Sync(ctx context.Context) error {
	done := make(chan error, 1)
	select {
	case r.syncs <- done:
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (r *Recorder) now() Stamp {
	now := r.clock.Steady()
	return Stamp{Wall: r.clock.Wall(now), Steady: now}
}

func (r *Recorder) stop(ctx context.Context) error {
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastFlush)
	defer cancel()
	r.handOver(last)
	r.report("flush", r.history.FlushAll(last, r.now()))
	return nil
}

// handOver passes on what came, and flushes at each step of the clock: one
// flush knows one relation of the clocks.
func (r *Recorder) handOver(ctx context.Context) {
	r.mu.Lock()
	parts, past := r.parts, r.past
	r.parts, r.count, r.past = nil, 0, nil
	r.mu.Unlock()
	for _, p := range past {
		r.observeGland(p.at, p.gland.ID, p.gland)
	}
	for _, p := range parts {
		r.history.AddReadings(p.readings...)
		if p.closed {
			r.report("flush", r.history.Flush(ctx, p.end))
		}
	}
	r.keepWeeps()
}

// observe adds what is known of each gland to its minute.
func (r *Recorder) observe(s *Snapshot) {
	if s.Time.Equal(r.looked) { // the loop stands still: nothing new is known
		return
	}
	r.looked = s.Time
	for _, g := range s.Glands {
		r.observeGland(s.Time, g.Rules.ID, g.State)
	}
}

// Series of the history beside the readings, each after a gland's id and a dot.
const (
	SeriesDPM   = "dpm"   // drops per minute
	SeriesDPM95 = "dpm95" // both limits of its 95 % interval: least and most are what counts
	SeriesRise  = "rise"  // °C over the reference
	SeriesTemp  = "temp"  // °C
	// Of each hour for the upkeep, at its end: drops per minute while the shaft
	// turned, and the minutes of that beside those of the hour (least and most).
	SeriesWeep    = "weep"
	SeriesWatched = "watched"
	SeriesRest    = "rest" // 1 while the shaft is at rest; nothing while it turns
)

// seriesOf are the names of a gland's series, made once.
type seriesOf struct{ dpm, dpm95, rise, temp, rest string }

func (r *Recorder) seriesOf(id string) *seriesOf {
	names, known := r.names[id]
	if !known {
		names = &seriesOf{id + "." + SeriesDPM, id + "." + SeriesDPM95, id + "." + SeriesRise, id + "." + SeriesTemp, id + "." + SeriesRest}
		r.names[id] = names
	}
	return names
}

func (r *Recorder) observeGland(at time.Time, id string, g rules.GlandState) {
	names := r.seriesOf(id)
	if g.Weep.Known {
		r.history.Observe(names.dpm, at, g.Weep.DPM)
		r.history.Observe(names.dpm95, at, g.Weep.LowDPM)
		r.history.Observe(names.dpm95, at, g.Weep.HighDPM)
	}
	if g.RiseC.Known {
		r.history.Observe(names.rise, at, g.RiseC.Value)
	}
	if g.TempC.Known {
		r.history.Observe(names.temp, at, g.TempC.Value)
	}
	if g.Running.Known && g.Running.Value == 0 {
		r.history.Observe(names.rest, at, 1)
	}
}

// freshWeep is the weep of an hour on its way to the history.
type freshWeep struct {
	gland string
	to    time.Time
	b     upkeep.Bucket
}

// Weep hands over the weep of an hour that ended at a time, for the upkeep of a
// later run. Like Add, it never waits.
func (r *Recorder) Weep(gland string, to time.Time, b upkeep.Bucket) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.weeps) < pastMost {
		r.weeps = append(r.weeps, freshWeep{gland, to, b})
	}
}

// keepWeeps writes what Weep took. Both lengths are in minutes of real time.
func (r *Recorder) keepWeeps() {
	r.mu.Lock()
	weeps := r.weeps
	r.weeps = nil
	r.mu.Unlock()
	for _, w := range weeps {
		if w.b.Watched <= 0 {
			continue
		}
		r.history.Observe(w.gland+"."+SeriesWeep, w.to, w.b.DPM())
		r.history.Observe(w.gland+"."+SeriesWatched, w.to, r.clock.real(w.b.Watched).Minutes())
		r.history.Observe(w.gland+"."+SeriesWatched, w.to, r.clock.real(w.b.To-w.b.From).Minutes())
	}
}

// Past hands over what was known at a moment that lies before the start, of a
// source that brought its past. Like Add, it never waits.
func (r *Recorder) Past(at time.Time, g rules.GlandState) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.past) < pastMost {
		r.past = append(r.past, pastState{at, g})
	}
}

type pastState struct {
	at    time.Time
	gland rules.GlandState
}

// report logs a problem when it begins and when it has gone.
func (r *Recorder) report(what string, err error) {
	switch {
	case err != nil && !r.failing:
		r.log.Error("history: cannot be written; it is kept in memory as far as it fits and tried again", "what", what, "error", err)
	case err == nil && r.failing:
		r.log.Info("history: is written again")
	}
	r.failing = err != nil
}
