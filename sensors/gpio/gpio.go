// Package gpio counts drops that close or open a contact, or break a light
// beam, on a pin of the gateway: one edge, one drop. A Contact reads whether
// the shaft turns.
package gpio

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Config says which pin is watched and how.
type Config struct {
	Pin  string // as the host names it, e.g. GPIO17
	Edge string // what a drop does to the pin: "rising" or "falling" (default)
	Pull string // resistor in the pin: "up", "down", "none", or "" to leave it

	// Debounce is how long after an accepted edge further ones count as
	// bounce of the same drop: 0 to 100 ms. A longer one would hide drops:
	// at 150 ms a quarter of them at 120 a minute. 3 ms suits most contacts
	// (common practice, no source).
	Debounce time.Duration
}

const mostDebounce = 100 * time.Millisecond

func (c Config) modes() (gpio.Pull, gpio.Edge, error) {
	pulls := map[string]gpio.Pull{"": gpio.PullNoChange, "up": gpio.PullUp, "down": gpio.PullDown, "none": gpio.Float}
	edges := map[string]gpio.Edge{"": gpio.FallingEdge, "falling": gpio.FallingEdge, "rising": gpio.RisingEdge}
	pull, ok := pulls[c.Pull]
	if !ok {
		return 0, 0, fmt.Errorf("gpio %s: pull %q; want up, down or none", c.Pin, c.Pull)
	}
	edge, ok := edges[c.Edge]
	if !ok {
		return 0, 0, fmt.Errorf("gpio %s: edge %q; want rising or falling", c.Pin, c.Edge)
	}
	if c.Debounce < 0 || c.Debounce > mostDebounce {
		return 0, 0, fmt.Errorf("gpio %s: debounce %s; want 0 to %s", c.Pin, c.Debounce, mostDebounce)
	}
	return pull, edge, nil
}

// Source counts drops on one pin.
type Source struct {
	cfg   Config
	pull  gpio.Pull
	edge  gpio.Edge
	pin   gpio.PinIn
	point reading.Point
	clock sensors.Clock
}

// New watches a pin that the caller has. Use Open to find it by its name.
func New(cfg Config, gland string, pin gpio.PinIn, clock sensors.Clock) (*Source, error) {
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
	point := reading.Point{Gland: gland, Kind: reading.Drip}
	return &Source{cfg: cfg, pull: pull, edge: edge, pin: pin, point: point, clock: clock}, nil
}

// Points is the gland's drip point.
func (s *Source) Points() []reading.Point { return []reading.Point{s.point} }

// String names the pin.
func (s *Source) String() string { return "gpio " + s.cfg.Pin }

// How Run waits. The pin's own wait is bounded because nothing else ends it
// (periph's gpioioctl returns from WaitForEdge(-1) at once and from
// WaitForEdge(0) never).
const (
	longestWait = 250 * time.Millisecond
	stormPause  = 10 * time.Millisecond // bounds the work that a storm makes
)

// Run counts until ctx ends. Each accepted edge is a reading of one drop,
// stamped when it is seen; without drops it says 0 every 9 s. More than
// stormEdges edges within a second are no drops: readings of quality Storm
// follow, one a second, until it is quiet again. While the pin does not wait
// for edges, as after its chip went away, readings have quality NoAnswer.
// Run fails only if the pin cannot be set up.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	if err := s.pin.In(s.pull, s.edge); err != nil {
		return fmt.Errorf("set up gpio %s for %s: %w; check that nothing else uses the pin and that it can be an input with edges",
			s.cfg.Pin, s.edge, err)
	}
	// Stops the edge detection. Its error changes nothing for anybody: the
	// pin is not used any more.
	defer func() { _ = s.pin.Halt() }()
	c := newCounter(s.point, s.cfg.Debounce, s.clock())
	for ctx.Err() == nil {
		if r, ok := s.round(ctx, c); ok {
			emit(r)
		}
	}
	return nil
}

// round waits for one edge, or for the time in which something must be said.
func (s *Source) round(ctx context.Context, c *counter) (reading.Reading, bool) {
	asked := s.clock()
	wait := min(longestWait, max(c.due()-asked, time.Millisecond))
	edge := s.pin.WaitForEdge(wait)
	at := s.clock()
	switch {
	case edge && c.storming:
		pause(ctx, stormPause)
		return c.edge(at)
	case edge:
		return c.edge(at)
	case at-asked < wait/2:
		pause(ctx, wait) // it would spin
		return c.deaf(at)
	default:
		return c.quiet(at)
	}
}

func pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
