package sensors

import (
	"context"
	"time"
)

// Grid keeps a period: sensors of one period are looked at in the same moment, on
// whole multiples of it, so that they wake the processor together.
type Grid struct {
	clock Clock
	every time.Duration
	timer *time.Timer
}

// NewGrid makes a grid. Whoever makes it stops it.
func NewGrid(clock Clock, every time.Duration) *Grid {
	return &Grid{clock: clock, every: every, timer: time.NewTimer(UntilGrid(clock(), every))}
}

// UntilGrid is how long after a moment the next point of a grid comes; it is never 0.
func UntilGrid(now, every time.Duration) time.Duration {
	return now.Truncate(every) + every - now
}

// Wait waits for the next point; false: ctx has ended. A point that has passed since
// the last call is there at once, and makes up for all that have.
func (g *Grid) Wait(ctx context.Context) bool {
	select {
	case <-ctx.Done():
		return false
	case <-g.timer.C:
		g.timer.Reset(UntilGrid(g.clock(), g.every))
		return true
	}
}

// Stop ends the grid.
func (g *Grid) Stop() { g.timer.Stop() }
