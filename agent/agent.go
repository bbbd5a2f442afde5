package agent

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"weepd/rules"
)

// aliveSpan is how long the loop may stand still and still count as turning.
const aliveSpan = 5 * time.Second

// Options is what an agent is made of.
type Options struct {
	Station    string
	Glands     []GlandInfo
	Feeds      []Feed
	Alarms     AlarmSettings
	Remembered Remembered // of the run before
	Journal    Journal
	History    *Recorder // nil: no history is kept
	Clock      *Clock
	Log        *slog.Logger
	Turned     func() // called by the loop at each turn; may be nil
	// NewTimer makes the timer of the beat; nil: it is the Go runtime's.
	NewTimer func() (Timer, error)
}

// Agent owns the core. Everybody else sees its Board.
type Agent struct {
	board    *Board
	queue    *queue
	calm     *patience
	requests chan request
	tasks    chan func(context.Context) // for the loop, between two turns
	swapping sync.Mutex                 // one reconfiguration at a time
	sources  *sources
	ended    chan struct{} // the loop has ended
	opened   chan struct{} // each source has been tried
	turned   func()
	newTimer func() (Timer, error)
	clock    *Clock
	log      *slog.Logger
	feeds    []Feed
	loop     *loop
	turn     atomic.Int64 // steady time of the loop's last turn
}

// New makes an agent; nothing runs yet.
func New(o Options) (*Agent, error) {
	station, err := rules.NewStation(rulesOf(o.Glands))
	if err != nil {
		return nil, err
	}
	return newAgent(o, station)
}

func newAgent(o Options, c core) (*Agent, error) {
	book, err := newBook(o.Glands, o.Alarms, o.Clock)
	if err != nil {
		return nil, err
	}
	a := &Agent{
		board: NewBoard(), clock: o.Clock, log: o.Log, feeds: o.Feeds,
		queue: newQueue(queueSize, o.Log), calm: newPatience(), requests: make(chan request), ended: make(chan struct{}),
		opened: make(chan struct{}), turned: o.Turned, newTimer: o.NewTimer, tasks: make(chan func(context.Context)),
	}
	a.sources = &sources{clock: a.clock, queue: a.queue, calm: a.calm, log: a.log}
	if a.turned == nil {
		a.turned = func() {}
	}
	o.Clock.Check() // the first offset is no step
	a.loop = newLoop(o, c, book, a)
	a.loop.publish(o.Clock.Steady())
	return a, nil
}

// Board gives the agent's snapshots.
func (a *Agent) Board() *Board { return a.board }

// QueueLength counts the readings on their way to the loop.
func (a *Agent) QueueLength() int { return len(a.queue.readings) }

// QueueDropped counts the readings that found the queue full.
func (a *Agent) QueueDropped() uint64 { return a.queue.dropped.Load() }

// Opened is closed when each source is open, or has failed to open and is tried
// again: a sensor that is broken at the start keeps no other from its work.
func (a *Agent) Opened() <-chan struct{} { return a.opened }

// Alive reports whether the loop turns.
func (a *Agent) Alive() bool {
	last := a.turn.Load()
	return last != 0 && a.clock.real(a.clock.Steady()-time.Duration(last)) < aliveSpan
}

// Services gives the agent's own parts in the order of their start.
func (a *Agent) Services() []Service {
	return []Service{
		{Name: "loop", Run: a.runLoop},
		{Name: "sources", Run: a.runSources},
	}
}

func (a *Agent) runLoop(ctx context.Context) error {
	defer close(a.ended)
	return a.loop.run(ctx)
}

func (a *Agent) runSources(ctx context.Context) error {
	return a.sources.run(ctx, a.feeds, func() { close(a.opened) })
}
