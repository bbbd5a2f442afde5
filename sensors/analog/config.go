package analog

import (
	"fmt"
	"log/slog"
	"slices"
	"time"

	"weepd/rules/reading"
)

// Config says where the converter is and what hangs on it.
type Config struct {
	Bus      string // I2C bus: 1 (or "") for /dev/i2c-1
	Address  uint16 // 0x48 to 0x4B; 0 means 0x48
	Channels []Channel

	Every   time.Duration // 1 s to 1 min; 0 means 10 s, or 1 s if there is a run point
	Timeout time.Duration // for all channels, 1 s up to Every; 0 means 2 s, or Every if that is less
	Log     *slog.Logger  // nil is silent
}

const (
	shortestEvery  = time.Second
	longestEvery   = time.Minute
	defaultEvery   = 10 * time.Second
	defaultTimeout = 2 * time.Second

	firstAddress, lastAddress = 0x48, 0x4B

	// mostChannels is one an input; more would take longer than shortestEvery.
	mostChannels = 4
)

func (c Config) withDefaults() Config {
	if c.Bus == "" {
		c.Bus = "1"
	}
	if c.Address == 0 {
		c.Address = firstAddress
	}
	c.Channels = slices.Clone(c.Channels)
	for i, ch := range c.Channels {
		c.Channels[i] = ch.withDefaults()
		if ch.Turning != nil {
			own := *ch.Turning // it keeps a state
			c.Channels[i].Turning = &own
		}
		if c.Every == 0 && ch.Point.Kind == reading.Run {
			c.Every = shortestEvery
		}
	}
	if c.Every == 0 {
		c.Every = defaultEvery
	}
	if c.Timeout == 0 {
		c.Timeout = min(defaultTimeout, c.Every)
	}
	return c
}

func (c Config) validate() error {
	switch {
	case c.Address < firstAddress || c.Address > lastAddress:
		return fmt.Errorf("analog I2C%s: address %#x; want %#x to %#x", c.Bus, c.Address, firstAddress, lastAddress)
	case len(c.Channels) == 0 || len(c.Channels) > mostChannels:
		return fmt.Errorf("analog %s: %d channels; want 1 to %d", c.name(), len(c.Channels), mostChannels)
	case c.Every < shortestEvery || c.Every > longestEvery:
		return fmt.Errorf("analog %s: every %s; want %s to %s", c.name(), c.Every, shortestEvery, longestEvery)
	case c.Timeout < shortestEvery || c.Timeout > c.Every:
		return fmt.Errorf("analog %s: timeout %s; want %s to every (%s)", c.name(), c.Timeout, shortestEvery, c.Every)
	}
	points := make(map[reading.Point]bool)
	for _, ch := range c.Channels {
		if err := ch.validate(); err != nil {
			return fmt.Errorf("analog %s: %w", c.name(), err)
		}
		if points[ch.Point] {
			return fmt.Errorf("analog %s: point %s appears twice", c.name(), ch.Point)
		}
		points[ch.Point] = true
	}
	return nil
}

func (c Config) name() string { return fmt.Sprintf("I2C%s/%02x", c.Bus, c.Address) }
