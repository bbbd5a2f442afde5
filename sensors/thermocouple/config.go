package thermocouple

import (
	"fmt"
	"log/slog"
	"time"

	"weepd/rules/reading"
)

// Config says where the converter is and what hangs on it.
type Config struct {
	Bus     string // SPI bus and chip select, e.g. 0.0 for /dev/spidev0.0
	Type    Type   // 0 means K
	MainsHz int    // what the filter takes out: 50 (default) or 60

	// Hot is the point that the thermocouple measures, temp or ref. Cold is
	// the one that the converter's own temperature stands for, such as the air
	// near the pump; the zero Point means none.
	Hot, Cold reading.Point

	Every   time.Duration // 2 s to 1 min; 0 means 10 s
	Timeout time.Duration // for an answer, 2 s up to Every; 0 means 2 s
	Log     *slog.Logger  // nil is silent
}

const (
	// shortestEvery leaves time to set the chip up and convert.
	shortestEvery  = 2 * time.Second
	longestEvery   = time.Minute
	defaultEvery   = 10 * time.Second
	defaultTimeout = 2 * time.Second
)

func (c Config) withDefaults() Config {
	if c.Type == 0 {
		c.Type = K
	}
	if c.MainsHz == 0 {
		c.MainsHz = 50
	}
	if c.Every == 0 {
		c.Every = defaultEvery
	}
	if c.Timeout == 0 {
		c.Timeout = defaultTimeout
	}
	return c
}

func (c Config) validate() error {
	_, known := functions[c.Type]
	switch {
	case !temperature(c.Hot):
		return fmt.Errorf("thermocouple %s: point %s; want temp or ref of a gland", c.Bus, c.Hot)
	case c.Cold != reading.Point{} && (!temperature(c.Cold) || c.Cold == c.Hot):
		return fmt.Errorf("thermocouple %s: cold junction as %s; want temp or ref of a gland, other than %s", c.Bus, c.Cold, c.Hot)
	case !known:
		return fmt.Errorf("thermocouple %s: %s; want K, J, T or N", c.Bus, c.Type)
	case c.MainsHz != 50 && c.MainsHz != 60:
		return fmt.Errorf("thermocouple %s: mains of %d Hz; want 50 or 60", c.Bus, c.MainsHz)
	case c.Every < shortestEvery || c.Every > longestEvery:
		return fmt.Errorf("thermocouple %s: every %s; want %s to %s", c.Bus, c.Every, shortestEvery, longestEvery)
	case c.Timeout < shortestEvery || c.Timeout > c.Every:
		return fmt.Errorf("thermocouple %s: timeout %s; want %s to every (%s)", c.Bus, c.Timeout, shortestEvery, c.Every)
	}
	return nil
}

func temperature(p reading.Point) bool {
	return reading.ValidGlandID(p.Gland) && (p.Kind == reading.Temp || p.Kind == reading.Ref)
}
