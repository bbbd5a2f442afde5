package agent

import (
	"sync"
	"sync/atomic"
	"time"

	"weepd/sensors"
)

// clockStep is the change of the wall clock against the steady clock that is
// worth an event; smaller ones are the clock being disciplined.
const clockStep = 2 * time.Second

// Clock is the station's steady clock and its relation to the wall clock.
// Steady time is Unix time at the start plus elapsed monotonic time, so it
// never steps. Steady and Wall may be called from any goroutine; Check belongs
// to the loop.
//
// A station of recordings alone may run faster than real time: then the steady
// clock runs Speed times as fast, and Wall says when things happened here.
type Clock struct {
	Speed    float64
	start    time.Time // carries the monotonic reading
	base     time.Duration
	wall     func() time.Time
	offset   atomic.Int64 // wall minus unhurried steady time, nanoseconds
	reported time.Duration
}

// NewClock starts a steady clock. wall gives the wall clock; nil means the
// system's.
func NewClock(wall func() time.Time) *Clock {
	if wall == nil {
		wall = time.Now
	}
	return &Clock{Speed: 1, start: time.Now(), base: time.Duration(wall().UnixNano()), wall: wall}
}

// Steady gives the steady time: see reading.Reading.At.
func (c *Clock) Steady() time.Duration {
	return c.base + time.Duration(float64(time.Since(c.start))*c.Speed)
}

// Wall gives the wall time of a steady time by the offset of the last check.
func (c *Clock) Wall(at time.Duration) time.Time {
	elapsed := c.real(at - c.base)
	return time.Unix(0, int64(c.base+elapsed)+c.offset.Load()).UTC()
}

// Check compares the clocks and takes over the new offset. stepped reports
// that the wall clock moved by more than clockStep since the last report.
func (c *Clock) Check() (step time.Duration, stepped bool) {
	offset := time.Duration(c.wall().UnixNano()) - c.base - time.Since(c.start)
	c.offset.Store(int64(offset))
	step = offset - c.reported
	if step.Abs() <= clockStep {
		return 0, false
	}
	c.reported = offset
	return step, true
}

// real gives how long a stretch of steady time takes here.
func (c *Clock) real(d time.Duration) time.Duration { return time.Duration(float64(d) / c.Speed) }

// steady gives how far the steady clock moves in a stretch of real time.
func (c *Clock) steady(d time.Duration) time.Duration { return time.Duration(float64(d) * c.Speed) }

// Unhurried gives a clock that begins at the steady time of its first call and
// then keeps real time: what a source that hurries by itself reckons from.
func (c *Clock) Unhurried() sensors.Clock {
	begin := sync.OnceValues(func() (time.Duration, time.Time) { return c.Steady(), time.Now() })
	return func() time.Duration {
		at, since := begin()
		return at + time.Since(since)
	}
}
