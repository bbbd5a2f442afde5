package gpio

import (
	"time"

	"weepd/sensors"
)

// timeline puts the times of a line's edges on the station's steady clock. Both
// clocks run alike, so their difference is one number, which each look at both
// narrows down, however long the machine was busy between the two.
type timeline struct {
	clock  sensors.Clock
	line   func() time.Duration
	known  bool
	offset time.Duration // steady clock minus the line's
	seen   time.Duration // the steady clock at the last look
}

// look compares the clocks and gives the steady one.
func (t *timeline) look() time.Duration {
	before := t.line()
	t.seen = t.clock()
	after := t.line()
	low, high := t.seen-after, t.seen-before
	if !t.known {
		t.known, t.offset = true, low+(high-low)/2
	}
	t.offset = min(max(t.offset, low), high)
	return t.seen
}

// of gives the steady time of a time of the line, at most that of the last look.
func (t *timeline) of(at time.Duration) time.Duration { return min(at+t.offset, t.seen) }
