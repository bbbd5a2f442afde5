package agent

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"weepd/rules/reading"
)

const (
	queueSize = 4096
	// pushWait is how long a full queue holds a source up before a reading is
	// lost. The source contract gives it a second to stop.
	pushWait = 500 * time.Millisecond
)

// queue is the one bounded way from the sources to the loop.
type queue struct {
	readings chan reading.Reading
	urgent   chan struct{} // something came that must not lie there while all is calm
	dropped  atomic.Uint64
	log      *slog.Logger

	losing atomic.Bool // lost has any
	mu     sync.Mutex
	lost   map[reading.Point]bool // lost a reading and the loop does not know yet
}

func newQueue(size int, log *slog.Logger) *queue {
	return &queue{readings: make(chan reading.Reading, size), urgent: make(chan struct{}, 1), log: log, lost: make(map[reading.Point]bool)}
}

// push waits for room up to pushWait. A reading that finds none is counted,
// and the next of its point is preceded by one with quality Lost, so that a
// missing drop is never taken for silence.
func (q *queue) push(ctx context.Context, r reading.Reading) {
	if q.isLost(r.Point) {
		if !q.send(ctx, reading.Reading{At: r.At, Point: r.Point, Quality: reading.Lost}) {
			q.drop(r)
			return
		}
		q.found(r.Point)
	}
	if !q.send(ctx, r) {
		q.drop(r)
	}
	if !r.Quality.OK() || len(q.readings) > cap(q.readings)/2 {
		q.hurry()
	}
}

// hurry wakes a loop that lets readings lie.
func (q *queue) hurry() {
	select {
	case q.urgent <- struct{}{}:
	default: // it has been woken
	}
}

func (q *queue) send(ctx context.Context, r reading.Reading) bool {
	select {
	case q.readings <- r:
		return true
	default:
	}
	timer := time.NewTimer(pushWait)
	defer timer.Stop()
	select {
	case q.readings <- r:
		return true
	case <-timer.C:
		return false
	case <-ctx.Done():
		return false
	}
}

func (q *queue) isLost(p reading.Point) bool {
	if !q.losing.Load() {
		return false
	}
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.lost[p]
}

func (q *queue) found(p reading.Point) {
	q.mu.Lock()
	defer q.mu.Unlock()
	delete(q.lost, p)
	if len(q.lost) == 0 {
		q.losing.Store(false)
		q.log.Info("reading queue takes readings again", "dropped", q.dropped.Load())
	}
}

func (q *queue) drop(r reading.Reading) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.dropped.Add(1)
	if len(q.lost) == 0 {
		q.log.Error("reading queue is full: readings are dropped; the machine is too slow or the journal's disk hangs",
			"point", r.Point.String(), "size", cap(q.readings))
	}
	q.lost[r.Point] = true
	q.losing.Store(true)
}
