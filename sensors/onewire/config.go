package onewire

import (
	"fmt"
	"log/slog"
	"time"

	"periph.io/x/conn/v3/onewire"

	"weepd/rules/reading"
)

// Config says which bus is read and which sensors on it.
type Config struct {
	Bus     string // number of the kernel's bus master: 1 for w1_bus_master1; "" means 1
	Sensors []Sensor

	Every   time.Duration // 2 s to 1 min; 0 means 10 s
	Timeout time.Duration // for all sensors, 2 s up to Every; 0 means half of Every, or 2 s if that is less
	Log     *slog.Logger  // nil is silent
}

// Sensor is one thermometer and the point it measures, temp or ref.
type Sensor struct {
	Address onewire.Address // see ParseAddress
	Point   reading.Point
}

const (
	shortestEvery = 2 * time.Second
	longestEvery  = time.Minute
	defaultEvery  = 10 * time.Second
	mostSensors   = 32 // each takes some 30 ms of the bus to read
)

func (c Config) withDefaults() Config {
	if c.Bus == "" {
		c.Bus = "1"
	}
	if c.Every == 0 {
		c.Every = defaultEvery
	}
	if c.Timeout == 0 {
		c.Timeout = max(shortestEvery, c.Every/2)
	}
	return c
}

func (c Config) validate() error {
	switch {
	case len(c.Sensors) == 0 || len(c.Sensors) > mostSensors:
		return fmt.Errorf("1-wire bus %s: %d sensors; want 1 to %d", c.Bus, len(c.Sensors), mostSensors)
	case c.Every < shortestEvery || c.Every > longestEvery:
		return fmt.Errorf("1-wire bus %s: every %s; want %s to %s", c.Bus, c.Every, shortestEvery, longestEvery)
	case c.Timeout < shortestEvery || c.Timeout > c.Every:
		return fmt.Errorf("1-wire bus %s: timeout %s; want %s to every (%s)", c.Bus, c.Timeout, shortestEvery, c.Every)
	}
	points, addresses := make(map[reading.Point]bool), make(map[onewire.Address]bool)
	for _, s := range c.Sensors {
		switch {
		case !reading.ValidGlandID(s.Point.Gland) || s.Point.Kind != reading.Temp && s.Point.Kind != reading.Ref:
			return fmt.Errorf("1-wire bus %s: point %s; want temp or ref of a gland", c.Bus, s.Point)
		case !validAddress(s.Address):
			return fmt.Errorf("1-wire bus %s: address %016x of %s is not a DS18B20's (family 28, checksum)", c.Bus, uint64(s.Address), s.Point)
		case points[s.Point] || addresses[s.Address]:
			return fmt.Errorf("1-wire bus %s: %s by %s appears twice", c.Bus, s.Point, nameOf(s.Address))
		}
		points[s.Point], addresses[s.Address] = true, true
	}
	return nil
}
