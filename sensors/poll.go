package sensors

import (
	"context"
	"time"
)

// Poll makes call at once and then at each point of a Grid until ctx ends, and hands
// what came of it to use, in the caller's goroutine. A call that takes longer
// than timeout counts as os.ErrDeadlineExceeded: see Bounded.
func Poll[T any](ctx context.Context, clock Clock, every, timeout time.Duration, call func() (T, error), use func(T, error)) {
	b := StartBounded(call)
	defer b.Stop()
	grid := NewGrid(clock, every)
	defer grid.Stop()
	for {
		value, err := b.Ask(ctx, timeout)
		if ctx.Err() != nil {
			return
		}
		use(value, err)
		if !grid.Wait(ctx) {
			return
		}
	}
}

// Pause waits for d, or less if ctx ends.
func Pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
