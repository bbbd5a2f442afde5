package file

import (
	"context"
	"os"
	"time"
)

// reader keeps reads, which may hang, out of Run. Its goroutine ends after
// stop, as soon as the read it is in returns.
type reader struct {
	requests chan struct{}
	answers  chan answer
	pending  bool // a request is not answered yet
	done     chan struct{}
}

// stopPatience is how long stop waits for a read to come back: enough for any
// that works, well within the second that a source has.
const stopPatience = 200 * time.Millisecond

func startReader(read func(string) ([]byte, error), path string) *reader {
	r := &reader{requests: make(chan struct{}), answers: make(chan answer, 1), done: make(chan struct{})}
	go func() {
		defer close(r.done)
		for range r.requests {
			text, err := read(path)
			r.answers <- answer{text, err} // never blocks: one request, one place
		}
	}()
	return r
}

// ask reads the file. An answer later than timeout is os.ErrDeadlineExceeded,
// and so is every further one until the read comes back: what it brings then
// is old and dropped. ok is false when ctx ends.
func (r *reader) ask(ctx context.Context, timeout time.Duration) (a answer, ok bool) {
	late := time.NewTimer(timeout)
	defer late.Stop()
	requests := r.requests
	var fresh <-chan answer
	stale := r.answers
	if r.pending {
		requests = nil // until the old read comes back
	}
	for {
		select {
		case <-ctx.Done():
			return answer{}, false
		case <-late.C:
			return answer{err: os.ErrDeadlineExceeded}, true
		case <-stale:
			r.pending, requests = false, r.requests
		case requests <- struct{}{}:
			r.pending, requests, stale, fresh = true, nil, nil, r.answers
		case a := <-fresh:
			r.pending = false
			return a, true
		}
	}
}

// stop ends the goroutine and waits for it a little.
func (r *reader) stop() {
	close(r.requests)
	patience := time.NewTimer(stopPatience)
	defer patience.Stop()
	select {
	case <-r.done:
	case <-patience.C:
	}
}
