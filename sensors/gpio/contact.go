package gpio

import (
	"context"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Contact tells whether a shaft turns from a contact of the motor's starter.
type Contact struct {
	cfg   Config
	open  opener
	point reading.Point
	clock sensors.Clock
	*sensors.Notebook
}

// newContact: with cfg.Edge "falling" (the default) low means turning, with
// "rising" high does. cfg.Debounce is how long a new level must last.
func newContact(cfg Config, gland string, open opener, clock sensors.Clock) *Contact {
	c := &Contact{cfg: cfg, open: open, point: reading.Point{Gland: gland, Kind: reading.Run}, clock: clock}
	c.Notebook = sensors.NewNotebook(cfg.Log, c.String(), c.Points())
	return c
}

// Points is the gland's run point.
func (c *Contact) Points() []reading.Point { return []reading.Point{c.point} }

// String names the line.
func (c *Contact) String() string { return "gpio " + c.cfg.Pin }

// chatterPause bounds the work that a chattering contact makes.
const chatterPause = 10 * time.Millisecond

// Run tells the level at the start, at each change that lasts and every 9 s,
// until ctx ends. While the line is away or taken it is looked for, and readings
// have quality NoAnswer; Run fails only if it is there and cannot be what we need.
func (c *Contact) Run(ctx context.Context, emit func(reading.Reading)) error {
	l, err := c.open(use{both: true, cfg: c.cfg})
	if err != nil && !heals(err) {
		return err
	}
	level := &level{point: c.point, turning: c.cfg.Edge == rising, lasting: c.cfg.Debounce}
	for ctx.Err() == nil {
		if err == nil {
			err = c.watch(ctx, l, level, emit)
			// A line that is gone cannot be closed any better.
			_ = l.close()
		}
		if err != nil {
			l, err = c.reopen(ctx, level, err, emit), nil
		}
	}
	return nil
}

// watch returns nil when ctx ends, or why the line is gone.
func (c *Contact) watch(ctx context.Context, l line, level *level, emit func(reading.Reading)) error {
	moved := false
	for ctx.Err() == nil {
		now := c.clock()
		high, err := l.high()
		if err != nil {
			return err
		}
		if r, ok := level.see(now, high, moved); ok {
			emit(c.Enter(r.At, r.Point, sensors.Finding{Value: r.Value, Raw: levelName(high)}))
		}
		l.wait(ctx, level.patience(now))
		edges, err := l.read()
		if err != nil {
			return err
		}
		if moved = len(edges) > 0; moved {
			pause(ctx, chatterPause)
		}
	}
	return nil
}

func (c *Contact) reopen(ctx context.Context, level *level, why error, emit func(reading.Reading)) line {
	for {
		if r, ok := level.gone(c.clock()); ok {
			emit(c.Enter(r.At, r.Point, sensors.Finding{Quality: r.Quality, Cause: why.Error()}))
		}
		pause(ctx, retryEvery)
		if ctx.Err() != nil {
			return nil
		}
		l, err := c.open(use{both: true, cfg: c.cfg})
		if err == nil {
			return l
		}
		why = err
	}
}

func levelName(high bool) string {
	if high {
		return "high"
	}
	return "low"
}

// level turns looks at a line into readings.
type level struct {
	point   reading.Point
	turning bool // the level of a turning shaft
	lasting time.Duration

	told  bool // something was
	bad   bool // the last thing told
	said  time.Duration
	high  bool          // as told
	seen  bool          // as it is
	since time.Duration // when it was last seen to move
}

// see takes the line's level, and whether edges came since the last look: a
// level that moved and moved back has not lasted.
func (l *level) see(now time.Duration, high, moved bool) (reading.Reading, bool) {
	if moved || high != l.seen {
		l.since, l.seen = now, high
	}
	switch {
	case !l.told || l.bad, high != l.high && now-l.since >= l.lasting:
		return l.say(now, high)
	case now-l.said >= sayEvery:
		return l.say(now, l.high)
	}
	return reading.Reading{}, false
}

// gone takes that the line cannot be read.
func (l *level) gone(now time.Duration) (reading.Reading, bool) {
	if l.bad && now-l.said < sayEvery {
		return reading.Reading{}, false
	}
	l.told, l.bad, l.said = true, true, now
	return reading.Reading{At: now, Point: l.point, Quality: reading.NoAnswer}, true
}

// patience is how long nothing needs to be looked at if no edge comes.
func (l *level) patience(now time.Duration) time.Duration {
	until := l.said + sayEvery
	if l.seen != l.high {
		until = min(until, l.since+l.lasting)
	}
	return max(until-now, shortestNap)
}

func (l *level) say(now time.Duration, high bool) (reading.Reading, bool) {
	l.told, l.bad, l.said, l.high = true, false, now, high
	r := reading.Reading{At: now, Point: l.point}
	if high == l.turning {
		r.Value = 1
	}
	return r, true
}
