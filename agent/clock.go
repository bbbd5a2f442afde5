package agent

import (
	"sync/atomic"
	"time"
)

// clockStep is the change of the wall clock against the steady clock that is
// worth an event; smaller ones are the clock being disciplined.
const clockStep = 2 * time.Second

// Clock is the station's steady clock and its relation to the wall clock.
// Steady time is Unix time at the start plus elapsed monotonic time, so it
// never steps. Steady and Wall may be called from any goroutine; Check belongs
// to the loop.
type Clock struct {
	start    time.Time // carries the monotonic reading
	base     time.Duration
	wall     func() time.Time
	offset   atomic.Int64 // wall minus steady, nanoseconds
	reported time.Duration
}

// NewClock starts a steady clock. wall gives the wall clock; nil means the
// system's.
func NewClock(wall func() time.Time) *Clock {
	if wall == nil {
		wall = time.Now
	}
	return &Clock{start: time.Now(), base: time.Duration(wall().UnixNano()), wall: wall}
}

// Steady gives the steady time: see reading.Reading.At.
func (c *Clock) Steady() time.Duration { return c.base + time.Since(c.start) }

// Wall gives the wall time of a steady time by the offset of the last check.
func (c *Clock) Wall(at time.Duration) time.Time {
	return time.Unix(0, int64(at)+c.offset.Load()).UTC()
}

// Check compares the clocks and takes over the new offset. stepped reports
// that the wall clock moved by more than clockStep since the last report.
func (c *Clock) Check() (step time.Duration, stepped bool) {
	offset := time.Duration(c.wall().UnixNano()) - c.Steady()
	c.offset.Store(int64(offset))
	step = offset - c.reported
	if step.Abs() <= clockStep {
		return 0, false
	}
	c.reported = offset
	return step, true
}
