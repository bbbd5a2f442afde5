package sensors

import (
	"context"
	"os"
	"time"
)

// Bounded keeps a call that may hang in the kernel, such as a read of a file
// below /sys, out of a source's Run. Each call has a goroutine of its own, at
// most one at a time, which ends when the call returns: a station has hundreds of
// them, idle but for a moment now and then, and a goroutine that waits keeps the
// stack that the call needed.
type Bounded[T any] struct {
	call    func() (T, error)
	answers chan answer[T]
	pending bool // a call has not been answered yet
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
	return &Bounded[T]{call: call, answers: make(chan answer[T], 1)}
}

// Ask makes the call. When it takes longer than timeout the error is
// os.ErrDeadlineExceeded, and so it is for every further one until the call
// comes back: what it brings then is old and dropped. When ctx ends the error
// is ctx's.
func (b *Bounded[T]) Ask(ctx context.Context, timeout time.Duration) (T, error) {
	late := time.NewTimer(timeout)
	defer late.Stop()
	if b.pending {
		if old := b.await(ctx.Done(), late.C); b.pending {
			return old.value, because(ctx)
		}
	}
	b.pending = true
	go b.answer()
	a := b.await(ctx.Done(), late.C)
	if b.pending {
		return a.value, because(ctx)
	}
	return a.value, a.err
}

// answer never blocks but in the call: one call, one place.
func (b *Bounded[T]) answer() {
	value, err := b.call()
	b.answers <- answer[T]{value, err}
}

// await takes what the call brings, after which none is pending.
func (b *Bounded[T]) await(ended <-chan struct{}, late <-chan time.Time) (a answer[T]) {
	select {
	case a = <-b.answers:
		b.pending = false
	case <-ended:
	case <-late:
	}
	return a
}

// because says why a call was not waited for any longer.
func because(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return os.ErrDeadlineExceeded
}

// Stop waits a little for a call that is not back. None may follow.
func (b *Bounded[T]) Stop() {
	if !b.pending {
		return
	}
	patience := time.NewTimer(stopPatience)
	defer patience.Stop()
	b.await(nil, patience.C)
}
