package agent

import (
	"time"

	"weepd/rules/reading"
)

// reorder gives readings that lie in the queue together back in order of time,
// equal times in order of arrival. None waits for an earlier one to come: an alarm
// must not be late for the sake of order. A reading that another source's has
// overtaken, by the milliseconds that a poll takes, is taken as of now.
type reorder struct {
	items   []queuedReading // a heap; container/heap would allocate for each reading
	arrived uint64
}

func (b *reorder) push(r reading.Reading) {
	b.items = append(b.items, queuedReading{r, b.arrived})
	b.arrived++
	for i := len(b.items) - 1; i > 0; {
		up := (i - 1) / 2
		if !b.items[i].before(&b.items[up]) {
			break
		}
		b.items[i], b.items[up] = b.items[up], b.items[i]
		i = up
	}
}

// pop gives the earliest reading if it is not after at.
func (b *reorder) pop(at time.Duration) (reading.Reading, bool) {
	if len(b.items) == 0 || b.items[0].At > at {
		return reading.Reading{}, false
	}
	first, last := b.items[0].Reading, len(b.items)-1
	b.items[0] = b.items[last]
	b.items = b.items[:last]
	for i, down := 0, 1; down < last; down = 2*i + 1 {
		if down+1 < last && b.items[down+1].before(&b.items[down]) {
			down++
		}
		if !b.items[down].before(&b.items[i]) {
			break
		}
		b.items[i], b.items[down] = b.items[down], b.items[i]
		i = down
	}
	return first, true
}

func (b *reorder) earliest() (time.Duration, bool) {
	if len(b.items) == 0 {
		return 0, false
	}
	return b.items[0].At, true
}

type queuedReading struct {
	reading.Reading
	arrival uint64
}

func (q *queuedReading) before(other *queuedReading) bool {
	return q.At < other.At || q.At == other.At && q.arrival < other.arrival
}
