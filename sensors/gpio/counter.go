package gpio

import (
	"math"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

const (
	// stormEdges in stormWindow are more than water makes: single drops come at
	// most some 24 a second (Clanet & Lasheras 1999; computed for 2 to 6 mm),
	// and a jet breaks up into v/(4.51 d) of them, 222 a second at 1 mm and
	// 1 m/s (Rayleigh 1878; both from memory): that is gushing, not a fault.
	stormEdges  = 500
	stormWindow = time.Second

	// quietEdges in stormWindow end a storm.
	quietEdges = stormEdges / 2

	// sayEvery leaves a second of sensors.WatchEvery for a busy machine.
	sayEvery = sensors.WatchEvery - time.Second
)

// counter turns edges and silence into readings. It keeps the last stormEdges
// edges and no more, however many come.
type counter struct {
	point    reading.Point
	debounce time.Duration

	said time.Duration // last reading

	last time.Duration // last accepted edge
	ring [stormEdges]time.Duration
	next int // place in ring of the oldest edge
	held int // edges in ring

	storming bool
	window   time.Duration // start of the storm's current window
	edges    int           // seen in it

	seq uint32 // of the last edge
	bad bool   // the line is gone
}

func newCounter(p reading.Point, debounce, now time.Duration) *counter {
	return &counter{point: p, debounce: debounce, said: now}
}

// due says when quiet has something to say at the latest.
func (c *counter) due() time.Duration {
	if c.storming {
		return c.window + stormWindow
	}
	return c.said + sayEvery
}

// restart takes that the line was asked for anew: its edges count from 1.
func (c *counter) restart() { c.seq = 0 }

// missed takes the number of an edge, before the edge itself, and tells how
// many before it were thrown away. In a storm that is no news. Numbers that
// fall are none that the kernel gives: then the loss is unknown, Value 0.
func (c *counter) missed(at time.Duration, seq uint32) (r reading.Reading, ok bool) {
	lost := seq - c.seq - 1
	c.seq = seq
	if lost == 0 || c.storming {
		return reading.Reading{}, false
	}
	if lost > math.MaxInt32 {
		lost = 0
	}
	return c.say(at, float64(lost), reading.Lost)
}

// edge takes an edge; ok says that there is something to tell.
func (c *counter) edge(at time.Duration) (r reading.Reading, ok bool) {
	c.bad = false
	if c.held > 0 && at-c.last < c.debounce {
		return c.quiet(at)
	}
	c.last = at
	if c.storming {
		c.edges++
		return c.quiet(at)
	}
	if c.held == stormEdges && at-c.ring[c.next] < stormWindow {
		c.storming, c.window, c.edges = true, at, 0
		return c.say(at, 0, reading.Storm)
	}
	c.ring[c.next] = at
	c.next = (c.next + 1) % stormEdges
	c.held = min(c.held+1, stormEdges)
	return c.say(at, 1, reading.Good)
}

// quiet takes the passing of time.
func (c *counter) quiet(at time.Duration) (r reading.Reading, ok bool) {
	wasBad := c.bad
	c.bad = false
	switch {
	case c.storming && at-c.window >= stormWindow:
		return c.judge(at)
	case c.storming:
		return reading.Reading{}, false
	case wasBad || at-c.said >= sayEvery:
		return c.say(at, 0, reading.Good)
	}
	return reading.Reading{}, false
}

// judge ends a window of a storm, and the storm if it was quiet.
func (c *counter) judge(at time.Duration) (reading.Reading, bool) {
	calm := c.edges <= quietEdges
	c.window, c.edges = at, 0
	if !calm {
		return c.say(at, 0, reading.Storm)
	}
	c.storming, c.held, c.next = false, 0, 0
	return c.say(at, 0, reading.Good)
}

// gone takes that the line cannot be read, for the given reason.
func (c *counter) gone(at time.Duration, why reading.Quality) (r reading.Reading, ok bool) {
	if c.bad && at-c.said < sayEvery {
		return reading.Reading{}, false
	}
	c.bad, c.storming = true, false
	return c.say(at, 0, why)
}

// say makes a reading. An edge is stamped by the kernel, silence by us, so that
// the last edge before a silence may come to light after it: At never goes back.
func (c *counter) say(at time.Duration, drops float64, q reading.Quality) (reading.Reading, bool) {
	at = max(at, c.said)
	c.said = at
	return reading.Reading{At: at, Point: c.point, Value: drops, Quality: q}, true
}
