package agent

import (
	"sync"
	"sync/atomic"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// GlandInfo is what the configuration says of a gland beyond what the core needs.
type GlandInfo struct {
	Name  string
	Rules rules.GlandConfig
}

// Gland is a gland in a snapshot.
type Gland struct {
	GlandInfo
	State  rules.GlandState
	Points [reading.Kinds]PointState
	Moved  time.Time    // when its last reading came; zero: none yet
	Upkeep *UpkeepState // nil while nothing is known
}

// PointState is the last word of a sensor.
type PointState struct {
	Seen    bool
	Quality reading.Quality
	Age     time.Duration // of its last reading when the snapshot was made, in elapsed time

	at time.Duration // steady time of its last reading
}

// Good reports that the point's last reading may be believed.
func (p PointState) Good() bool { return p.Seen && p.Quality.OK() }

// TransitionKey labels the count of an alarm's transitions.
type TransitionKey struct{ Gland, Condition, State string }

// FaultKey labels the count of a sensor's faults.
type FaultKey struct {
	Point   reading.Point
	Quality reading.Quality
}

// Snapshot is the station as it stands. Nobody changes it once it is published.
type Snapshot struct {
	Station     string
	Started     time.Time
	Time        time.Time
	Seq         uint64  // of the newest event
	Glands      []Gland // in the order of the configuration
	Alarms      []Alarm // every condition of every gland, glands in order, urgent conditions first
	Store       Trouble
	Config      ConfigState
	Transitions map[TransitionKey]uint64
	Faults      map[FaultKey]uint64
}

// Board hands snapshots from the loop to the publishers.
type Board struct {
	latest  atomic.Pointer[Snapshot]
	mu      sync.Mutex
	changed chan struct{}
	urgent  chan Urgent // no room: only who waits for it is handed anything
}

// NewBoard makes a board with an empty snapshot.
func NewBoard() *Board {
	b := &Board{changed: make(chan struct{}), urgent: make(chan Urgent)}
	b.latest.Store(&Snapshot{})
	return b
}

// Latest gives the newest snapshot; never nil.
func (b *Board) Latest() *Snapshot { return b.latest.Load() }

// Changed gives a channel that is closed at the next snapshot. Take it before
// Latest, or a change between the two is missed.
func (b *Board) Changed() <-chan struct{} {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.changed
}

func (b *Board) publish(s *Snapshot) {
	b.latest.Store(s)
	b.mu.Lock()
	defer b.mu.Unlock()
	close(b.changed)
	b.changed = make(chan struct{})
}
