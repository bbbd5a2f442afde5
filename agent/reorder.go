package agent

import (
	"container/heap"
	"time"

	"weepd/rules/reading"
)

// reorder gives readings that lie in the queue together back in order of time,
// equal times in order of arrival. None waits for an earlier one to come: an alarm
// must not be late for the sake of order. A reading that another source's has
// overtaken, by the milliseconds that a poll takes, is taken as of now.
type reorder struct {
	items   readingHeap
	arrived uint64
}

func (b *reorder) push(r reading.Reading) {
	heap.Push(&b.items, queuedReading{r, b.arrived})
	b.arrived++
}

// pop gives the earliest reading if it is not after at.
func (b *reorder) pop(at time.Duration) (reading.Reading, bool) {
	if len(b.items) == 0 || b.items[0].At > at {
		return reading.Reading{}, false
	}
	return heap.Pop(&b.items).(queuedReading).Reading, true
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

type readingHeap []queuedReading

func (h readingHeap) Len() int { return len(h) }
func (h readingHeap) Less(i, j int) bool {
	if h[i].At != h[j].At {
		return h[i].At < h[j].At
	}
	return h[i].arrival < h[j].arrival
}
func (h readingHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *readingHeap) Push(x any)   { *h = append(*h, x.(queuedReading)) }
func (h *readingHeap) Pop() any {
	last := len(*h) - 1
	x := (*h)[last]
	*h = (*h)[:last]
	return x
}
