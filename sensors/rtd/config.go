package rtd

import (
	"fmt"
	"log/slog"
	"math"
	"time"

	"weepd/rules/reading"
)

// Config says where the converter is and what hangs on it.
type Config struct {
	Bus        string        // SPI bus and chip select, e.g. 0.0 for /dev/spidev0.0
	NominalOhm float64       // at 0 °C: 100 (default) for Pt100, 1000 for Pt1000
	RefOhm     float64       // reference resistor; 0 means 4.3 times NominalOhm
	Wires      int           // 2, 3 or 4; 0 means 3
	LeadOhm    float64       // of both leads together, with two wires
	MainsHz    int           // what the filter takes out: 50 (default) or 60
	Every      time.Duration // 500 ms to 1 min; 0 means 10 s
	Timeout    time.Duration // for an answer, up to Every; 0 means 2 s, or Every if that is less
	Log        *slog.Logger  // nil is silent
}

const (
	shortestEvery  = 500 * time.Millisecond
	longestEvery   = time.Minute
	defaultEvery   = 10 * time.Second
	defaultTimeout = 2 * time.Second
)

func (c Config) withDefaults() Config {
	if c.NominalOhm == 0 {
		c.NominalOhm = 100
	}
	if c.RefOhm == 0 {
		c.RefOhm = 4.3 * c.NominalOhm
	}
	if c.Wires == 0 {
		c.Wires = 3
	}
	if c.MainsHz == 0 {
		c.MainsHz = 50
	}
	if c.Every == 0 {
		c.Every = defaultEvery
	}
	if c.Timeout == 0 {
		c.Timeout = min(defaultTimeout, c.Every)
	}
	return c
}

func (c Config) validate(p reading.Point) error {
	switch {
	case !reading.ValidGlandID(p.Gland) || p.Kind != reading.Temp && p.Kind != reading.Ref:
		return fmt.Errorf("rtd %s: point %s; want temp or ref of a gland", c.Bus, p)
	case c.NominalOhm != 100 && c.NominalOhm != 1000:
		return fmt.Errorf("rtd %s: nominal resistance %g Ω; want 100 or 1000", c.Bus, c.NominalOhm)
	case !(c.RefOhm > c.NominalOhm && c.RefOhm <= 10*c.NominalOhm):
		return fmt.Errorf("rtd %s: reference resistor %g Ω; want more than the sensor's %g and at most ten times that, as printed on the board",
			c.Bus, c.RefOhm, c.NominalOhm)
	case c.Wires < 2 || c.Wires > 4:
		return fmt.Errorf("rtd %s: %d wires; want 2, 3 or 4", c.Bus, c.Wires)
	case !(c.LeadOhm >= 0 && c.LeadOhm <= c.NominalOhm/2) || c.LeadOhm > 0 && c.Wires != 2:
		return fmt.Errorf("rtd %s: leads of %g Ω with %d wires; want 0 to %g, and only with 2 wires", c.Bus, c.LeadOhm, c.Wires, c.NominalOhm/2)
	case c.MainsHz != 50 && c.MainsHz != 60:
		return fmt.Errorf("rtd %s: mains of %d Hz; want 50 or 60", c.Bus, c.MainsHz)
	}
	return c.validateTimes()
}

func (c Config) validateTimes() error {
	switch {
	case c.Every < shortestEvery || c.Every > longestEvery:
		return fmt.Errorf("rtd %s: every %s; want %s to %s", c.Bus, c.Every, shortestEvery, longestEvery)
	case c.Timeout < shortestEvery || c.Timeout > c.Every:
		return fmt.Errorf("rtd %s: timeout %s; want %s to every (%s)", c.Bus, c.Timeout, shortestEvery, c.Every)
	}
	return nil
}

// setup is what is written to the chip and how its answer is read.
type setup struct {
	config                      byte
	high, low                   uint16
	nominalOhm, refOhm, leadOhm float64
}

func (c Config) setup() setup {
	s := setup{nominalOhm: c.NominalOhm, refOhm: c.RefOhm, leadOhm: c.LeadOhm}
	if c.Wires == 3 {
		s.config |= threeWire
	}
	if c.MainsHz == 50 {
		s.config |= filter50Hz
	}
	code := func(t float64) uint16 {
		ratio := (OhmAt(t, c.NominalOhm) + c.LeadOhm) / c.RefOhm
		return uint16(math.Round(min(ratio*fullScale, fullScale-2))) << 1
	}
	s.high, s.low = code(HighestC), code(LowestC)
	return s
}
