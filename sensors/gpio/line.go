package gpio

import (
	"context"
	"errors"
	"time"
)

// line is an input that was asked for and is held.
type line interface {
	// wait returns when edges are there, after d, or when ctx ends; it may
	// return early.
	wait(ctx context.Context, d time.Duration)
	// keeps reports that edges that nobody waits for are kept with their times.
	keeps() bool
	// read gives the edges that are there and never waits for any. An error
	// means that the line is gone.
	read() ([]edge, error)
	// high gives the level now.
	high() (bool, error)
	// now is the time by the clock of edges.
	now() time.Duration
	close() error
}

// edge is one change of a line.
type edge struct {
	at  time.Duration // on the line's clock
	seq uint32        // rises by one from 1 for each edge, also those not delivered
}

// use says what a line is wanted for.
type use struct {
	both bool // edges both ways, else the one of the Config
	cfg  Config
}

// errGarbled says that what came is not what the interface promises.
var errGarbled = errors.New("answer of the kernel could not be read")

// pause waits for d or until ctx ends.
func pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
