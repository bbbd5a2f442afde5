package sensors

import (
	"context"
	"os"
	"time"
)

// Bounded keeps a call that may hang in the kernel, such as a read of a file
// below /sys, out of a source's Run. It has a goroutine of its own, which ends
// after Stop, as soon as the call it is in returns.
type Bounded[T any] struct {
	requests chan struct{}
	answers  chan answer[T]
	pending  bool // a request is not answered yet
	done     chan struct{}
}

type answer[T any] struct {
	value T
	err   error
}

// stopPatience is how long Stop waits for a call to come back: enough for any
// that works, well within the second that a source has.
const stopPatience = 200 * time.Millisecond

// StartBounded makes call ready to be asked. Whoever starts it stops it.
func StartBounded[T any](call func() (T, error)) *Bounded[T] {
	b := &Bounded[T]{requests: make(chan struct{}), answers: make(chan answer[T], 1), done: make(chan struct{})}
	go func() {
		defer close(b.done)
		for range b.requests {
			value, err := call()
			b.answers <- answer[T]{value, err} // never blocks: one request, one place
		}
	}()
	return b
}

// Ask makes the call. When it takes longer than timeout the error is
// os.ErrDeadlineExceeded, and so it is for every further one until the call
// comes back: what it brings then is old and dropped. When ctx ends the error
// is ctx's.
func (b *Bounded[T]) Ask(ctx context.Context, timeout time.Duration) (T, error) {
	late := time.NewTimer(timeout)
	defer late.Stop()
	var none T
	requests := b.requests
	var fresh <-chan answer[T]
	stale := b.answers
	if b.pending {
		requests = nil // until the old call comes back
	}
	for {
		select {
		case <-ctx.Done():
			return none, ctx.Err()
		case <-late.C:
			return none, os.ErrDeadlineExceeded
		case <-stale:
			b.pending, requests = false, b.requests
		case requests <- struct{}{}:
			b.pending, requests, stale, fresh = true, nil, nil, b.answers
		case a := <-fresh:
			b.pending = false
			return a.value, a.err
		}
	}
}

// Stop ends the goroutine and waits for it a little.
func (b *Bounded[T]) Stop() {
	close(b.requests)
	patience := time.NewTimer(stopPatience)
	defer patience.Stop()
	select {
	case <-b.done:
	case <-patience.C:
	}
}
