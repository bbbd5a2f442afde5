package gpio

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Contact tells whether a shaft turns from a contact of the motor's starter.
// periph's pins hide errors of reading, so that a chip that went away reads as
// low: wire the contact so that low means turning (Edge "falling", with a
// pull-up), then a failure does not silence alarms.
type Contact struct {
	cfg     Config
	pull    gpio.Pull
	turning gpio.Level
	pin     gpio.PinIn
	point   reading.Point
	clock   sensors.Clock
}

// NewContact reads a pin that the caller has. With cfg.Edge "falling" (the
// default) low means turning, with "rising" high does. cfg.Debounce is how
// long a new level must last.
func NewContact(cfg Config, gland string, pin gpio.PinIn, clock sensors.Clock) (*Contact, error) {
	if cfg.Pin == "" {
		cfg.Pin = pin.Name()
	}
	pull, edge, err := cfg.modes()
	if err != nil {
		return nil, err
	}
	if !reading.ValidGlandID(gland) {
		return nil, wrongGland(cfg, gland)
	}
	return &Contact{
		cfg: cfg, pull: pull, turning: gpio.Level(edge == gpio.RisingEdge), pin: pin, clock: clock,
		point: reading.Point{Gland: gland, Kind: reading.Run},
	}, nil
}

// OpenContact finds cfg.Pin among the host's pins.
func OpenContact(cfg Config, gland string, clock sensors.Clock) (*Contact, error) {
	pin, err := find(cfg, gland)
	if err != nil {
		return nil, err
	}
	return NewContact(cfg, gland, pin, clock)
}

// Points is the gland's run point.
func (c *Contact) Points() []reading.Point { return []reading.Point{c.point} }

// String names the pin.
func (c *Contact) String() string { return "gpio " + c.cfg.Pin }

// pollEvery is how often the level is looked at: a shaft takes longer to start.
const pollEvery = 50 * time.Millisecond

// Run tells the level at the start, at each change and every
// sensors.WatchEvery, until ctx ends. It fails only if the pin cannot be set
// up.
func (c *Contact) Run(ctx context.Context, emit func(reading.Reading)) error {
	if err := c.pin.In(c.pull, gpio.NoEdge); err != nil {
		return fmt.Errorf("set up gpio %s: %w; check that nothing else uses the pin and that it can be an input", c.cfg.Pin, err)
	}
	level := c.pin.Read()
	said := c.clock()
	emit(c.reading(said, level))
	differs := said // since when the level was last as told
	for pause(ctx, pollEvery); ctx.Err() == nil; pause(ctx, pollEvery) {
		now, seen := c.clock(), c.pin.Read()
		if seen == level {
			differs = now
		}
		changed := seen != level && now-differs >= c.cfg.Debounce
		if changed || now-said >= sensors.WatchEvery {
			if changed {
				level = seen
			}
			said = now
			emit(c.reading(now, level))
		}
	}
	return nil
}

func (c *Contact) reading(at time.Duration, level gpio.Level) reading.Reading {
	r := reading.Reading{At: at, Point: c.point}
	if level == c.turning {
		r.Value = 1
	}
	return r
}
